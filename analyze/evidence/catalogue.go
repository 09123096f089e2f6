package evidence

import "fmt"

// entry is one line of the catalogue: a code and its sentence. {name} stands
// for the value of that name, {name:0} for it with no decimals.
type entry struct {
	code Code
	text string
}

// catalogue holds the sentence of every code. Each finding package has a file
// here with its codes and their sentences side by side.
var catalogue = func() map[Code]string {
	all := map[Code]string{}
	for _, part := range [][]entry{
		alertEntries,
		superheatEntries,
		sensorcheckEntries,
		floodbackEntries,
		circuitEntries,
		causeEntries,
		checkEntries,
		trendEntries,
	} {
		for _, e := range part {
			if _, twice := all[e.code]; twice {
				panic(fmt.Sprintf("evidence code %q stands in the catalogue twice", e.code))
			}
			all[e.code] = e.text
		}
	}
	return all
}()

// Codes returns all codes of the catalogue, in no order.
func Codes() []Code {
	codes := make([]Code, 0, len(catalogue))
	for c := range catalogue {
		codes = append(codes, c)
	}
	return codes
}
