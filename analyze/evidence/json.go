package evidence

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
)

// MarshalJSON writes {"code":…,"values":{…},"text":…}: values in their order,
// null where a number is not known, no text where i has none.
func (i Item) MarshalJSON() ([]byte, error) {
	var b bytes.Buffer
	b.WriteString(`{"code":`)
	if err := encode(&b, string(i.Code)); err != nil {
		return nil, err
	}
	b.WriteString(`,"values":{`)
	for n, v := range i.Values {
		if n > 0 {
			b.WriteByte(',')
		}
		if err := encode(&b, v.Name); err != nil {
			return nil, err
		}
		b.WriteByte(':')
		var value any = v.Word
		if v.Quantity() != Word {
			if value = v.Number; math.IsNaN(v.Number) || math.IsInf(v.Number, 0) {
				value = nil
			}
		}
		if err := encode(&b, value); err != nil {
			return nil, err
		}
	}
	b.WriteByte('}')
	if i.Text != "" {
		b.WriteString(`,"text":`)
		if err := encode(&b, i.Text); err != nil {
			return nil, err
		}
	}
	b.WriteByte('}')
	return b.Bytes(), nil
}

// encode writes v without escaping <, > and &.
func encode(b *bytes.Buffer, v any) error {
	enc := json.NewEncoder(b)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		return err
	}
	b.Truncate(b.Len() - 1) // the new line
	return nil
}

// UnmarshalJSON reads what MarshalJSON writes, and a plain string, which is how
// journals held evidence before it had codes.
func (i *Item) UnmarshalJSON(data []byte) error {
	if data = bytes.TrimSpace(data); len(data) > 0 && data[0] == '"' {
		*i = Item{Code: Sentence}
		return json.Unmarshal(data, &i.Text)
	}
	var plain struct {
		Code   Code            `json:"code"`
		Values json.RawMessage `json:"values"`
		Text   string          `json:"text"`
	}
	if err := json.Unmarshal(data, &plain); err != nil {
		return err
	}
	values, err := decodeValues(plain.Values)
	if err != nil {
		return fmt.Errorf("evidence %q: %w", plain.Code, err)
	}
	*i = Item{Code: plain.Code, Values: values, Text: plain.Text}
	return nil
}

// decodeValues reads an object of numbers and words, keeping its order.
func decodeValues(data []byte) ([]Value, error) {
	if len(data) == 0 || string(data) == "null" {
		return nil, nil
	}
	dec := json.NewDecoder(bytes.NewReader(data))
	if t, err := dec.Token(); err != nil || t != json.Delim('{') {
		return nil, fmt.Errorf("values: want an object of numbers and words, have %.40s", data)
	}
	var values []Value
	for dec.More() {
		key, err := dec.Token()
		if err != nil {
			return nil, err
		}
		v := Value{Name: key.(string), Number: math.NaN()}
		word, err := dec.Token()
		if err != nil {
			return nil, err
		}
		switch x := word.(type) {
		case float64:
			v.Number = x
		case string:
			v.Word = x
		case nil:
		default:
			return nil, fmt.Errorf("value %q: want a number, a word or null", v.Name)
		}
		values = append(values, v)
	}
	return values, nil
}
