package share

import (
	"context"
	"errors"
	"testing"

	"github.com/nats-io/nats.go/jetstream"
)

// lagging is a store whose servers do not all know the same: each answer is by the next of them.
type lagging struct {
	jetstream.ObjectStore
	gets, infos []error
	deleted     bool
}

func (l *lagging) GetBytes(context.Context, string, ...jetstream.GetObjectOpt) ([]byte, error) {
	err := l.gets[0]
	if l.gets = l.gets[1:]; err != nil {
		return nil, err
	}
	return []byte("scan"), nil
}

func (l *lagging) GetInfo(context.Context, string, ...jetstream.GetObjectInfoOpt) (*jetstream.ObjectInfo, error) {
	err := l.infos[0]
	if l.infos = l.infos[1:]; err != nil {
		return nil, err
	}
	return &jetstream.ObjectInfo{Deleted: l.deleted}, nil
}

// What one server of a cluster does not know yet, or only in part, is asked for again; what was removed is not.
func TestFetchBehind(t *testing.T) {
	missing, part := jetstream.ErrObjectNotFound, jetstream.ErrDigestMismatch
	for what, l := range map[string]*lagging{
		"none knows of it":        {gets: []error{missing, nil}, infos: []error{missing}},
		"the second knows of it":  {gets: []error{missing, nil}, infos: []error{nil}},
		"the first has a part":    {gets: []error{part, nil}},
		"removed, and two behind": {gets: []error{missing, missing}, infos: []error{missing, nil}, deleted: true},
	} {
		t.Run(what, func(t *testing.T) {
			t.Parallel()
			data, err := fetch(t.Context(), l, "key")
			if removed := errors.Is(err, missing); removed != l.deleted || !removed && (err != nil || string(data) != "scan") {
				t.Errorf("%q, %v", data, err)
			}
			if len(l.gets) > 0 {
				t.Errorf("%d answers were not asked for", len(l.gets))
			}
		})
	}
}
