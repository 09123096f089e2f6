package config

import (
	"errors"
	"io/fs"

	"dewgap/analyze/refrigerant"
)

// refrigerant reads which fluid a group has.
func (b *builder) refrigerant(t *table) *refrigerant.Fluid {
	name, ok := t.need("refrigerant", "R448A")
	if !ok {
		return nil
	}
	return &refrigerant.Fluid{Name: name}
}

func (b *builder) refrigerants(root *table) {
}

// underlying is the cause of a file's error, without the path, which the
// message has already.
func underlying(err error) error {
	var path *fs.PathError
	if errors.As(err, &path) {
		return path.Err
	}
	return err
}
