// Package setting describes the settings of a struct in one table. Defaults,
// decoding with limits and the configuration reference are made from its rows.
//
// It may import the standard library's pure packages only. Parsing and wording
// belong to package config, which interprets the rows.
package setting

// Row is one setting of the struct S.
type Row[S any] struct {
	Key     string // in the file, with the tables around it: floor.steady
	Field   Field[S]
	Meaning string // in one plain sentence
	Example string // the value as TOML
	Source  string // of the default, or "common practice, no source"
	Usual   string // values in use, for the message that rejects a value
	Needed  string // when the file must state it: "always", "with serial"; empty for never
}

// Field links a row with a field of S.
type Field[S any] struct {
	Pointer func(*S) any // to the field; nil where config decodes the key by hand
	Default any          // of the field's type; nil where there is none
	Min     any          // lowest value allowed; nil where there is no limit
	Max     any          // highest value allowed

	// Words are the values of a field that is chosen by a word, and Choose
	// sets the field to the one named.
	Words  []string
	Choose func(s *S, word string)

	// Unit, Shown and Range describe a key that config decodes by hand: what
	// stands in the file, the default and the limits.
	Unit, Shown, Range string

	Assumed bool // zero stands for "not stated"; analysis then assumes Default
	Fixed   bool // the field has a default and no key

	reset, fill func(*S)
}

// Number is the type of a field with limits.
type Number interface {
	~int | ~int64 | ~float64 | ~uint8
}

// Within is a field between two limits, both allowed.
func Within[S any, T Number](field func(*S) *T, def, low, high T) Field[S] {
	f := Fixed(field, def)
	f.Min, f.Max, f.Fixed = low, high, false
	return f
}

// Assumed is a field between two limits that stays zero where the file states
// nothing; def is what analysis assumes then.
func Assumed[S any, T Number](field func(*S) *T, def, low, high T) Field[S] {
	f := Within(field, def, low, high)
	f.Assumed, f.reset, f.fill = true, nil, nil
	return f
}

// Unset is a field between two limits that stays zero where the file states
// nothing; shown describes in words what happens then.
func Unset[S any, T Number](field func(*S) *T, shown string, low, high T) Field[S] {
	f := Assumed(field, 0, low, high)
	f.Default, f.Shown = nil, shown
	return f
}

// Fixed is a field with a default that no key sets.
func Fixed[S any, T Number](field func(*S) *T, def T) Field[S] {
	return Field[S]{
		Pointer: func(s *S) any { return field(s) },
		Default: def,
		Fixed:   true,
		reset:   func(s *S) { *field(s) = def },
		fill: func(s *S) {
			if p := field(s); *p <= 0 {
				*p = def
			}
		},
	}
}

// Plain is a field without limits, such as a text or a flag.
func Plain[S, T any](field func(*S) *T, def T) Field[S] {
	return Field[S]{
		Pointer: func(s *S) any { return field(s) },
		Default: def,
		reset:   func(s *S) { *field(s) = def },
	}
}

// Word is a value with the word that stands for it in the file.
type Word[T any] struct {
	Name  string
	Value T
}

// OneOf is a field that is chosen by a word. def is the value where the file
// states nothing; where it has no word, shown describes what happens then.
func OneOf[S any, T comparable](field func(*S) *T, def T, shown string, words []Word[T]) Field[S] {
	f := Plain(field, def)
	f.Default, f.Shown = nil, shown
	for _, w := range words {
		f.Words = append(f.Words, w.Name)
		if w.Value == def && shown == "" {
			f.Shown = w.Name
		}
	}
	f.Choose = func(s *S, word string) {
		for _, w := range words {
			if w.Name == word {
				*field(s) = w.Value
			}
		}
	}
	return f
}

// ByHand describes a key that config decodes without the table: what stands in
// the file, the default and the limits, each in words.
func ByHand[S any](unit, def, limits string) Field[S] {
	return Field[S]{Unit: unit, Shown: def, Range: limits}
}

// Defaults returns S with the default of every row.
func Defaults[S any](rows []Row[S]) S {
	var s S
	for i := range rows {
		if rows[i].Field.reset != nil {
			rows[i].Field.reset(&s)
		}
	}
	return s
}

// Fill sets the fields of s that are zero or less to their defaults.
func Fill[S any](rows []Row[S], s *S) {
	for i := range rows {
		if rows[i].Field.fill != nil {
			rows[i].Field.fill(s)
		}
	}
}
