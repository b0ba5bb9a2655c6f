package study

import (
	_ "embed"
	"slices"

	"github.com/pelletier/go-toml/v2"

	"fornix/inspect"
)

//go:embed explain.toml
var explainText string

// Page is the help page of one statistic.
type Page struct {
	inspect.Explanation
	Names []string `toml:"names"` // other words by which it is found
}

// Pages lists the help page of every statistic of a study, in the order in which a study tells them.
func Pages() []Page {
	var p struct {
		Page []Page `toml:"page"`
	}
	if err := toml.Unmarshal([]byte(explainText), &p); err != nil {
		panic("study: the embedded explanations are wrong: " + err.Error())
	}
	return p.Page
}

// Explain returns the help page of a statistic by its code or one of its names; small and capital
// letters differ, as r and R do.
func Explain(name string) (inspect.Explanation, bool) {
	for _, p := range Pages() {
		if p.Code == name || slices.Contains(p.Names, name) {
			return p.Explanation, true
		}
	}
	return inspect.Explanation{}, false
}
