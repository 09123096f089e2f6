package floodback

import (
	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
)

// Set is the detectors of one compressor. Each detector has a method step that
// takes the next frame, with the compressor in it, and writes into the finding
// that it is handed; it allocates nothing while its condition is absent.
type Set struct {
	compressor int // index over the site
	margin     marginDetector
	start      startDetector
	hunting    huntingDetector
	high       highDetector
	findings   [HighSuperheat + 1]Finding // one for each, by kind
}

// NewSet returns the detectors of the compressor with that index over the
// site: s are its group's settings, defaults filled in, v the vapour properties
// of its refrigerant. It keeps s.
func NewSet(s *Settings, v Vapour, compressor int) Set {
	return Set{
		compressor: compressor,
		margin:     newMarginDetector(s, v),
		start:      startDetector{settings: s},
		hunting:    huntingDetector{limits: &s.Hunting},
		high:       highDetector{limits: &s.High},
	}
}

// Step takes the next frame, whose compressor i is the set's, and appends the
// findings that are not Clear to found, the floodback finding first.
func (s *Set) Step(x *frame.Frame, i int, found []Finding) []Finding {
	c := &x.Compressors[i]
	s.margin.step(x, c, s.prepare(Floodback))
	found = s.collect(Floodback, found)
	s.start.step(x, c, s.prepare(FloodedStart))
	found = s.collect(FloodedStart, found)
	s.hunting.step(x, c, s.prepare(Hunting))
	found = s.collect(Hunting, found)
	s.high.step(x, c, s.prepare(HighSuperheat))
	return s.collect(HighSuperheat, found)
}

// prepare returns the finding for a detector to fill. It stays with the set:
// clearing and copying a finding at each step costs more than the detectors.
func (s *Set) prepare(k Kind) *Finding {
	f := &s.findings[k]
	f.Kind, f.Compressor, f.Input, f.Verdict = k, s.compressor, -1, Unknown
	return f
}

// collect appends the finding of kind k unless it is Clear.
func (s *Set) collect(k Kind, found []Finding) []Finding {
	f := &s.findings[k]
	if f.Verdict == Clear && f.Evidence == nil {
		return found // what else is in it, the next step overwrites
	}
	if f.Verdict != Clear {
		found = append(found, *f)
	}
	*f = Finding{}
	return found
}

// Hunts reports whether the superheat of the compressor is hunting now.
func (s *Set) Hunts() bool { return s.hunting.present }

// Discharge returns whether the efficiency of the compressor has been learned,
// and by how many K its discharge temperature heads below that of dry gas at
// 0 K of superheat: below zero while it takes superheated gas, NaN where not
// known.
func (s *Set) Discharge() (learned bool, shortfall float64) { return s.margin.wet.liquid.shortfall() }

// LiquidAtMost returns the share of liquid by mass that the discharge
// temperature allows at most; NaN when it shows none.
func (s *Set) LiquidAtMost() float64 { return s.margin.wet.liquid.atMost() }

// recentEvidence keeps the evidence of a lasting condition, so that it is put
// together now and then and not at every frame.
type recentEvidence struct {
	at       int64
	severity Severity
	items    []evidence.Item
}

// evidenceAge is how old the evidence of a lasting condition may grow, ns.
const evidenceAge = int64(10e9)

func (r *recentEvidence) due(at int64, s Severity) bool {
	return r.items == nil || s != r.severity || at-r.at >= evidenceAge || at < r.at
}

func (r *recentEvidence) set(at int64, s Severity, items ...evidence.Item) {
	r.at, r.severity, r.items = at, s, items
}

func (r *recentEvidence) reset() { r.items = nil }
