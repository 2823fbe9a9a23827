package metrics

import (
	"context"
	"errors"

	"laycast/forecast"
)

// Source is a weather source whose requests are counted.
type Source interface {
	Fetch(ctx context.Context, ask forecast.Ask) ([]forecast.Run, error)
	Batch(ep forecast.Endpoint) int
}

// Counted is a source that counts its requests.
type Counted struct {
	Source
	name string
	m    *Metrics
}

// CountSource gives s, counting its requests under the name.
func (m *Metrics) CountSource(name string, s Source) Counted { return Counted{s, name, m} }

// Fetch asks the source.
func (c Counted) Fetch(ctx context.Context, ask forecast.Ask) ([]forecast.Run, error) {
	runs, err := c.Source.Fetch(ctx, ask)
	outcome := "ok"
	var f *forecast.Failure
	switch {
	case errors.As(err, &f):
		outcome = string(f.Kind)
	case err != nil:
		outcome = "other"
	}
	c.m.sources.WithLabelValues(c.name, string(ask.Endpoint), outcome).Inc()
	return runs, err
}

// Weight gives what a request costs in the source's calls, 1 where it does not tell.
func (c Counted) Weight(ep forecast.Endpoint, cells int) float64 {
	if x, ok := c.Source.(interface {
		Weight(ep forecast.Endpoint, cells int) float64
	}); ok {
		return x.Weight(ep, cells)
	}
	return 1
}
