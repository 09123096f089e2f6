// Package evidence holds what analysis found as data: a stable code with typed
// quantities in SI. One catalogue renders it for people, in SI or US units, at
// the edge: page, explanation, log, record, report. Nothing parses a sentence.
//
// It may import the standard library's pure packages and units. It must never
// import a package that finds evidence: those import it.
package evidence

import (
	"math"
	"time"

	"dewgap/analyze/units"
)

// Code names one kind of evidence. Codes are stable: journals hold them.
type Code string

// Sentence is the code of evidence that a journal holds as a sentence only,
// written before evidence had codes. It is shown as it was written.
const Sentence Code = "sentence"

// Item is one piece of evidence. Its zero value is none.
type Item struct {
	Code   Code
	Values []Value
	// Text is the sentence that a journal or event file holds beside the code.
	// It is shown only where this version's catalogue lacks the code.
	Text string
}

// Value is one named quantity or word of an Item. The name ends in the unit of
// the quantity, see Quantity; a name without such an ending is a word.
type Value struct {
	Name   string
	Number float64 // SI, rounded as Text shows it; NaN where not known
	Word   string
}

// New returns the evidence of a code.
func New(code Code, values ...Value) Item { return Item{Code: code, Values: values} }

// IsZero reports whether i is no evidence.
func (i Item) IsZero() bool { return i.Code == "" && i.Text == "" }

// Number returns the value of that name; NaN when it is not there.
func (i Item) Number(name string) float64 {
	for _, v := range i.Values {
		if v.Name == name && v.Quantity() != Word {
			return v.Number
		}
	}
	return math.NaN()
}

// Word returns the word of that name; empty when it is not there.
func (i Item) Word(name string) string {
	for _, v := range i.Values {
		if v.Name == name {
			return v.Word
		}
	}
	return ""
}

// Equal reports whether a and b hold the same code, values and text.
func (i Item) Equal(b Item) bool {
	if i.Code != b.Code || i.Text != b.Text || len(i.Values) != len(b.Values) {
		return false
	}
	for n, v := range i.Values {
		w := b.Values[n]
		if v.Name != w.Name || v.Word != w.Word || v.Number != w.Number && !(math.IsNaN(v.Number) && math.IsNaN(w.Number)) {
			return false
		}
	}
	return true
}

// Difference returns a difference of temperatures, rounded to 0.1 K; the name
// gets the ending _k.
func Difference(name string, k units.Kelvin) Value {
	return Value{Name: name + "_k", Number: round(float64(k), 10)}
}

// Temperature returns a temperature, rounded to 0.1 °C; the name gets the
// ending _c.
func Temperature(name string, c units.Celsius) Value {
	return Value{Name: name + "_c", Number: round(float64(c), 10)}
}

// Pressure returns an absolute pressure, rounded to 100 Pa; the name gets the
// ending _pa. People are shown what a gauge shows.
func Pressure(name string, p units.Pascal) Value {
	return Value{Name: name + "_pa", Number: round(float64(p), 0.01)}
}

// PressureDifference returns a difference of pressures in Pa, rounded to
// 100 Pa; the name gets the ending _difference_pa.
func PressureDifference(name string, p units.Pascal) Value {
	return Value{Name: name + "_difference_pa", Number: round(float64(p), 0.01)}
}

// Duration returns a time, rounded to 1 s; the name gets the ending _seconds.
func Duration(name string, d time.Duration) Value {
	return Value{Name: name + "_seconds", Number: round(d.Seconds(), 1)}
}

// Rate returns a change of temperature in K a minute, rounded to 0.1; the name
// gets the ending _k_per_min.
func Rate(name string, kPerMinute float64) Value {
	return Value{Name: name + "_k_per_min", Number: round(kPerMinute, 10)}
}

// Share returns a share of one (0.05 is 5 %), rounded to 0.001; the name gets
// the ending _share.
func Share(name string, share float64) Value {
	return Value{Name: name + "_share", Number: round(share, 1000)}
}

// Count returns a number of things; the name gets the ending _count.
func Count(name string, n int) Value { return Value{Name: name + "_count", Number: float64(n)} }

// Name returns a word: the name of an input, a circuit, a phase, a unit.
func Name(name, word string) Value { return Value{Name: name, Number: math.NaN(), Word: word} }

// Part returns a word that is itself a code of the catalogue: the sentence of
// the item shows that code's text in its place. The name gets the ending _code.
// The holes of the part are filled from the same item.
func Part(name string, code Code) Value {
	return Value{Name: name + partEnding, Number: math.NaN(), Word: string(code)}
}

// partEnding ends the names of words that are codes of the catalogue.
const partEnding = "_code"

// round returns v rounded to the nearest multiple of 1/perUnit.
func round(v, perUnit float64) float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return math.NaN()
	}
	return math.Round(v*perUnit)/perUnit + 0 // no negative zero
}

// Sentences returns evidence without codes, as journals of earlier versions
// hold it.
func Sentences(lines []string) []Item {
	var items []Item
	for _, l := range lines {
		items = append(items, Item{Code: Sentence, Text: l})
	}
	return items
}
