package inspect

import (
	"errors"
	"fmt"
	"strings"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// tomlPlaces holds the line on which each dotted key of a TOML file stands first.
type tomlPlaces map[string]int

// of returns the line of key, or of the nearest thing above it that the file names.
func (t tomlPlaces) of(key string) int {
	for {
		if n, found := t[key]; found {
			return n
		}
		cut := strings.LastIndexByte(key, '.')
		if cut < 0 {
			return 1
		}
		key = key[:cut]
	}
}

// tomlLines finds where keys stand, and refuses numbers that are none: TOML allows nan and inf,
// and a limit of either would let everything pass.
func tomlLines(text []byte) (tomlPlaces, error) {
	t := tomlPlaces{}
	p := unstable.Parser{}
	p.Reset(text)
	table := ""
	for p.NextExpression() {
		e := p.Expression()
		key, line := dotted(&p, e)
		switch e.Kind {
		case unstable.Table, unstable.ArrayTable:
			table = key
		case unstable.KeyValue:
			if table != "" {
				key = table + "." + key
			}
			if err := finite(e.Value(), key, line); err != nil {
				return nil, err
			}
		default:
			continue
		}
		if _, found := t[key]; !found {
			t[key] = line
		}
	}
	// What is wrong with the grammar is told better by the decoder.
	return t, nil
}

func dotted(p *unstable.Parser, e *unstable.Node) (key string, line int) {
	var parts []string
	for it := e.Key(); it.Next(); {
		n := it.Node()
		if line == 0 {
			line = p.Shape(n.Raw).Start.Line
		}
		parts = append(parts, string(n.Data))
	}
	return strings.Join(parts, "."), line
}

func finite(n *unstable.Node, key string, line int) error {
	if n.Kind == unstable.Float {
		if s := strings.TrimLeft(string(n.Data), "+-"); s == "nan" || s == "inf" {
			return fmt.Errorf("%d: %s = %s is not a number that a value can be held against", line, key, n.Data)
		}
	}
	if n.Kind != unstable.Array && n.Kind != unstable.InlineTable && n.Kind != unstable.KeyValue {
		return nil
	}
	for it := n.Children(); it.Next(); {
		if err := finite(it.Node(), key, line); err != nil {
			return err
		}
	}
	return nil
}

// tomlError says in one line what the decoder found, with the file's line in front.
func tomlError(name string, err error) error {
	var unknown *toml.StrictMissingError
	if errors.As(err, &unknown) && len(unknown.Errors) > 0 {
		e := unknown.Errors[0]
		line, _ := e.Position()
		return fmt.Errorf("%s:%d: %s is not a key of a protocol", name, line, strings.Join(e.Key(), "."))
	}
	var wrong *toml.DecodeError
	if errors.As(err, &wrong) {
		line, _ := wrong.Position()
		return fmt.Errorf("%s:%d: %s", name, line, strings.TrimPrefix(wrong.Error(), "toml: "))
	}
	return fmt.Errorf("%s: %w", name, err)
}
