package evidence

// Codes that the tracker builds from an event's own figures, headline first.
// min_superheat_k, min_margin_k and floor_k (the floor at opening) are those of
// the event.
const (
	SuperheatBelowFloor        Code = "superheat_below_floor"
	SuperheatBelowChangedFloor Code = "superheat_below_changed_floor" // the floor at the minimum is not the one at opening
	SuperheatAboveFloor        Code = "superheat_above_floor"         // as measured; the estimate for the gas was below
	LowestMargin               Code = "lowest_margin"                 // where it is of another row than the lowest superheat
)

// Codes that close an event from outside, and of the input of an event.
const (
	ClosedClockSetBack Code = "closed_clock_set_back"
	ClosedClockAhead   Code = "closed_clock_ahead"
	ClosedSubjectGone  Code = "closed_subject_gone"
	InputConcerned     Code = "input_concerned"
	SourceSilent       Code = "source_silent" // all inputs of a group that one source delivers
	GroupSilent        Code = "group_silent"  // the same where the source is not known
)

// Codes of the daemon's own notes in the journal.
const (
	DaemonStarted  Code = "daemon_started"
	DaemonStopped  Code = "daemon_stopped"
	DataGap        Code = "data_gap"
	ClockForward   Code = "clock_forward"
	ClockBack      Code = "clock_back"
	ClockRestarted Code = "clock_restarted"
	ConfigSameSite Code = "config_same_site"
	ConfigNewSite  Code = "config_new_site"
	JournalAnew    Code = "journal_anew"

	AcknowledgementTakenBack Code = "acknowledgement_taken_back"
)

var alertEntries = []entry{
	{SuperheatBelowFloor, "superheat came down to {min_superheat_k}, {below_k} below the floor of {floor_k} ({phase})"},
	{SuperheatBelowChangedFloor, "superheat came down to {min_superheat_k}, {below_k} below the floor of {floor_at_minimum_k} ({phase}); the floor at opening was {floor_k}"},
	{SuperheatAboveFloor, "the measured superheat came down to {min_superheat_k}, {min_margin_k} above the floor ({phase})"},
	{LowestMargin, "the margin was lowest at {min_margin_k}: superheat {superheat_at_min_margin_k}, floor {floor_at_min_margin_k} ({phase})"},

	{ClosedClockSetBack, "closed because the clock was set back; what still holds opens a new event"},
	{ClosedClockAhead, "closed because it was opened under a clock that ran ahead; what still holds opens a new event"},
	{ClosedSubjectGone, "closed because its input or compressor is no longer configured"},
	{InputConcerned, "input {input}"},
	{SourceSilent, "source {source} delivers nothing of group {group}; silent are {inputs}"},
	{GroupSilent, "nothing is read of group {group}; silent are {inputs}"},

	{DaemonStarted, "dewgap {version} started"},
	{DaemonStopped, "dewgap {version} stopped"},
	{DataGap, "nothing was read for {gap_seconds}"},
	{ClockForward, "the clock went forward by {step_seconds}: it was set, or the machine slept; nothing was read in between"},
	{ClockBack, "the clock was set back by {step_seconds}; times go on without a step, {ahead_seconds} ahead of the wall clock, slowly until it has caught up"},
	{ClockRestarted, "the clock was set back by {step_seconds}, too far to catch up with: times go back too, and analysis starts again"},
	{ConfigSameSite, "the configuration was read again: the site is the same, its sources start again"},
	{JournalAnew, "the event journal was written anew from memory: its file was gone, replaced, cut, or could not be read whole"},
	{AcknowledgementTakenBack, "the acknowledgement of {event} was taken back by {by}"},
	{ConfigNewSite, "the configuration was read again: the site has changed, analysis starts again; open events continue"},
}
