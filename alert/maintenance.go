package alert

import (
	"fmt"
	"slices"
	"time"
)

// Entries of the journal about maintenance.
const (
	maintenanceEntry      = "maintenance"
	maintenanceEndedEntry = "maintenance_ended"
)

// maxMaintenance is how many past and present ones stay in memory.
const maxMaintenance = 200

// SetMaintenance begins a maintenance, for the next Commit. The journal names it
// by its place and time, and returns it with that name.
func (j *Journal) SetMaintenance(m Maintenance) Maintenance {
	j.mu.Lock()
	defer j.mu.Unlock()
	m.From, m.Until = m.From.UTC(), m.Until.UTC()
	name := subject(m.Group, m.Compressor, "") + "-maintenance-" + m.From.Format("20060102T150405.999999999Z")
	m.ID = name
	for n := 'b'; j.findMaintenance(m.ID) >= 0; n++ { // two within one row
		m.ID = name + string(n)
	}
	j.keepMaintenance(m)
	j.queue(entry{At: m.From, Entry: maintenanceEntry, Maintenance: &m})
	return m
}

// EndMaintenance ends the maintenance id at an instant, for the next Commit. It
// fails where none that is on has that id.
func (j *Journal) EndMaintenance(id string, at time.Time, by string) (Maintenance, error) {
	if err := checkWords(by, ""); err != nil {
		return Maintenance{}, err
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	i := j.findMaintenance(id)
	if i < 0 || !j.maintenance[i].On(at) {
		var on []string
		for _, m := range j.maintenance {
			if m.On(at) {
				on = append(on, m.ID)
			}
		}
		return Maintenance{}, &UnknownError{What: "maintenance that is on", ID: id, Near: nearest(id, on)}
	}
	m := j.maintenance[i]
	m.Until, m.EndedBy = at.UTC(), by
	j.maintenance[i] = m
	j.queue(entry{At: at.UTC(), Entry: maintenanceEndedEntry, Maintenance: &m})
	return m, nil
}

// Maintenance returns those that are on at an instant, in order of beginning.
func (j *Journal) Maintenance(at time.Time) []Maintenance {
	return slices.DeleteFunc(j.AllMaintenance(), func(m Maintenance) bool { return !m.On(at) })
}

// AllMaintenance returns the newest 200, past ones included, in order of beginning.
func (j *Journal) AllMaintenance() []Maintenance {
	j.mu.Lock()
	defer j.mu.Unlock()
	return slices.Clone(j.maintenance)
}

// Muted reports whether notifications about a group's compressor are muted at an
// instant; about the group's own inputs where compressor is empty.
func (j *Journal) Muted(group, compressor string, at time.Time) bool {
	return slices.ContainsFunc(j.Maintenance(at), func(m Maintenance) bool { return m.Covers(group, compressor) })
}

func (j *Journal) findMaintenance(id string) int {
	return slices.IndexFunc(j.maintenance, func(m Maintenance) bool { return m.ID == id })
}

// keepMaintenance takes a new one, or the newer form of one, into memory.
func (j *Journal) keepMaintenance(m Maintenance) {
	if i := j.findMaintenance(m.ID); i >= 0 {
		j.maintenance[i] = m
		return
	}
	j.maintenance = append(j.maintenance, m)
	if n := len(j.maintenance) - maxMaintenance; n > 0 {
		j.maintenance = slices.Clone(j.maintenance[n:])
	}
}

// maintenanceEntries are what a new file begins with, so that a maintenance
// outlives the file that it was written to.
func (j *Journal) maintenanceEntries() (all []entry) {
	for i := range j.maintenance {
		m := &j.maintenance[i]
		e := entry{At: m.From, Entry: maintenanceEntry, Maintenance: m}
		if m.EndedBy != "" {
			e.At, e.Entry = m.Until, maintenanceEndedEntry
		}
		all = append(all, e)
	}
	return all
}

// ReadMaintenance returns the maintenance that the journal in dir holds, in order
// of beginning. Like ReadEvents it changes nothing and takes no lock.
func ReadMaintenance(dir string) ([]Maintenance, error) {
	j := newJournal(disk{}, dir, 0)
	if err := j.load(); err != nil {
		return nil, fmt.Errorf("read journal: %w", err)
	}
	return j.maintenance, nil
}
