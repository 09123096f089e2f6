package config

import (
	"errors"
	"fmt"
	"io/fs"
	"strings"

	"dewgap/analyze/refrigerant"
)

// refrigerant reads which fluid a group has.
func (b *builder) refrigerant(t *table) *refrigerant.Fluid {
	name, ok := t.need("refrigerant", "R448A")
	if !ok {
		return nil
	}
	fluid, err := refrigerant.Lookup(name)
	if err != nil {
		remedy := "dewgap refrigerants lists those that are"
		var unknown *refrigerant.UnknownError
		if errors.As(err, &unknown) && len(unknown.Nearest) > 0 {
			remedy = fmt.Sprintf("did you mean %s? dewgap refrigerants lists all", strings.Join(unknown.Nearest, ", "))
		}
		t.fault("refrigerant", fmt.Sprintf("%q is not known", name), remedy)
		return nil
	}
	return fluid
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
