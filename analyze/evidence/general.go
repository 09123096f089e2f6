package evidence

// Codes that the tracker and the daemon add to an event.
const (
	ClosedClockSetBack Code = "closed_clock_set_back"
	ClosedClockAhead   Code = "closed_clock_ahead"
	ClosedSubjectGone  Code = "closed_subject_gone"
	InputConcerned     Code = "input_concerned"
)

var generalEntries = []entry{
	{ClosedClockSetBack, "closed because the clock was set back; what still holds opens a new event"},
	{ClosedClockAhead, "closed because it was opened under a clock that ran ahead; what still holds opens a new event"},
	{ClosedSubjectGone, "closed because its input or compressor is no longer configured"},
	{InputConcerned, "input {input}"},
}
