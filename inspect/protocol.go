package inspect

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/hex"
	"fmt"
	"io"
	"strings"

	"github.com/pelletier/go-toml/v2"
)

// DefaultProtocolText is the protocol that judges when the user names none: the only home of
// every limit, and of every parameter of the measurements.
//
//go:embed default.toml
var DefaultProtocolText string

// Protocol says how to measure and what to accept. Method changes the numbers of a report;
// Limits change only its words, so a stored report can be judged anew without its scan.
type Protocol struct {
	Protocol ProtocolInfo `toml:"protocol"`
	Method   Method       `toml:"method"`
	Limits   Limits       `toml:"limits"`
}

// Method gathers the parameters of the measurements, one section of the protocol file each.
type Method struct {
	Object   ObjectMethod   `toml:"object"`
	Quality  QualityMethod  `toml:"quality"`
	Frame    FrameMethod    `toml:"frame"`
	Hole     HoleMethod     `toml:"hole"`
	Border   BorderMethod   `toml:"border"`
	Defect   DefectMethod   `toml:"defect"`
	Occlusal OcclusalMethod `toml:"occlusal"`
	Compare  CompareMethod  `toml:"compare"`
	Relate   RelateMethod   `toml:"relate"`
}

// ProtocolInfo names a protocol.
type ProtocolInfo struct {
	Name    string `toml:"name"`
	Version string `toml:"version"`
	Note    string `toml:"note,multiline"`
}

// ID names the protocol in a report: name, version, and the beginning of the SHA-256 of all
// its values, so that two protocols with one name are told apart.
func (p Protocol) ID() string {
	sum := p.Sum()
	return p.Protocol.Name + " " + p.Protocol.Version + " (" + hex.EncodeToString(sum[:4]) + ")"
}

// Sum is the SHA-256 of all its values.
func (p Protocol) Sum() [sha256.Size]byte {
	text, err := toml.Marshal(p)
	if err != nil {
		panic("inspect: a checked protocol does not write: " + err.Error())
	}
	return sha256.Sum256(text)
}

// WriteProtocol writes every value of p as TOML, in the order of the default file.
func WriteProtocol(w io.Writer, p Protocol) error {
	text, err := toml.Marshal(p)
	if err != nil {
		return err
	}
	_, err = w.Write(text)
	return err
}

// DefaultProtocol returns the embedded protocol.
func DefaultProtocol() Protocol {
	p, err := readOver(Protocol{}, []byte(DefaultProtocolText), "default.toml")
	if err != nil {
		panic("inspect: the embedded protocol is wrong: " + err.Error())
	}
	return p
}

// ReadProtocol reads a protocol file over the default one: the file says only what differs,
// and everything it does not name keeps the default's value, so no limit is ever dropped.
//
// The file must give a name of its own, because a report says which protocol judged it. An
// unknown key, a value that is not a number, and limits in the wrong order are errors that tell
// the line; name stands at the beginning of each.
func ReadProtocol(r io.Reader, name string) (Protocol, error) {
	text, err := io.ReadAll(io.LimitReader(r, maxProtocol+1))
	if err != nil {
		return Protocol{}, err
	}
	if len(text) > maxProtocol {
		return Protocol{}, fmt.Errorf("%s: longer than %d bytes: not a protocol", name, maxProtocol)
	}
	base := DefaultProtocol()
	inherited := base.Protocol
	base.Protocol = ProtocolInfo{}
	p, err := readOver(base, text, name)
	if err != nil {
		return Protocol{}, err
	}
	if p.Protocol.Name == inherited.Name && p.ID() != DefaultProtocol().ID() {
		return Protocol{}, fmt.Errorf("%s: [protocol] name %q is that of the default protocol; "+
			"give yours another", name, inherited.Name)
	}
	return p, nil
}

const maxProtocol = 1 << 20

func readOver(p Protocol, text []byte, name string) (Protocol, error) {
	lines, err := tomlLines(text)
	if err != nil {
		return p, fmt.Errorf("%s:%w", name, err)
	}
	d := toml.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&p); err != nil {
		return p, tomlError(name, err)
	}
	if p.Protocol.Name == "" {
		return p, fmt.Errorf("%s:1: [protocol] name is missing: a report says which protocol judged it", name)
	}
	if p.Protocol.Version == "" {
		return p, fmt.Errorf("%s:%d: [protocol] version is missing", name, lines.of("protocol"))
	}
	for _, l := range p.Limits.all() {
		if err := l.check(); err != nil {
			return p, fmt.Errorf("%s:%d: [limits.%s] %w", name, lines.of("limits."+l.name), l.name, err)
		}
	}
	for _, r := range p.Limits.rules() {
		if err := r.check(); err != nil {
			return p, fmt.Errorf("%s:%d: [limits.%s] %w", name, lines.of("limits."+r.name), r.name, err)
		}
	}
	return p, nil
}

// A check of a limit that is out of order, or says too little to be told to a clinician.
func (l namedLimit) check() error {
	switch {
	case l.Unit == "":
		return fmt.Errorf("unit is missing")
	case !knownSource(l.Source):
		return fmt.Errorf("source must begin with one of %s, and say more", strings.Join(sources, ", "))
	case !asksFor(l.Action):
		return fmt.Errorf("action must be correct, rescan or retake, not %q", l.Action)
	case l.past(l.Review, l.Fail):
		return fmt.Errorf("fail = %v lies inside review = %v, but a fault is worse than a doubt", l.Fail, l.Review)
	case l.Note != nil && l.past(*l.Note, l.Review):
		return fmt.Errorf("note = %v lies outside review = %v", *l.Note, l.Review)
	case l.Retake != nil && l.past(l.Fail, *l.Retake):
		return fmt.Errorf("retake = %v lies inside fail = %v", *l.Retake, l.Fail)
	}
	return nil
}

func (r namedRule) check() error {
	switch {
	case r.Severity != Info && r.Severity != Review && r.Severity != Fail && r.Severity != Unmeasured:
		return fmt.Errorf("severity must be info, unmeasured, review or fail, not %q", r.Severity)
	case !asksFor(r.Action):
		return fmt.Errorf("action must be correct, rescan or retake, not %q", r.Action)
	case !knownSource(r.Source):
		return fmt.Errorf("source must begin with one of %s, and say more", strings.Join(sources, ", "))
	}
	return nil
}

// sources are the kinds of ground a limit may stand on, as the first words of its source.
var sources = []string{"paper", "standard", "common practice", "project choice", "own choice"}

func knownSource(s string) bool {
	for _, k := range sources {
		if strings.HasPrefix(s, k) && len(s) > len(k)+3 {
			return true
		}
	}
	return false
}

func asksFor(v Verdict) bool { return v == Correct || v == Rescan || v == Retake }
