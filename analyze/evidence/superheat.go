package evidence

// Codes of why an input or a superheat is not good.
const (
	SourceFailure Code = "source_failure" // the source's own reason
	NeverRead     Code = "never_read"
	Stale         Code = "stale"
	NotANumber    Code = "not_a_number"
	OutOfRange    Code = "out_of_range"
	Sentinel      Code = "sentinel"
	Jump          Code = "jump"
	NoDew         Code = "no_dew"
	NoInput       Code = "no_input"
)

var superheatEntries = []entry{
	{SourceFailure, "{reason}"},
	{NeverRead, "nothing was read yet"},
	{Stale, "no new reading for longer than allowed"},
	{NotANumber, "the device sent something that is not a number"},
	{OutOfRange, "no working sensor in this place can read this; check wiring, scaling and unit"},
	{Sentinel, "jumped to a number that devices send for 'no probe'; check the probe and its wiring"},
	{Jump, "changed faster than this place can; believed only if it stays"},
	{NoDew, "the pressure is outside the refrigerant's table; check refrigerant, unit, gauge or absolute"},
	{NoInput, "the site has no such input"},
}
