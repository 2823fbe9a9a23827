package web

import (
	"context"
	"fmt"
	"net/url"
	"strconv"
	"strings"

	"laycast/job"
	"laycast/notify"
)

// Place is somewhere that a search by name found.
type Place struct {
	Name string
	job.Point
	ElevationM float64
	Zone       string
}

// Places finds places by their names. An error's text is for the reader.
type Places interface {
	Find(ctx context.Context, name string) ([]Place, error)
}

// placeLine is a place to be chosen from.
type placeLine struct{ Text, Value string }

// placing looks for a place where the form asks for that, or takes the pin of one
// that was found into its values. It reports whether the form asked for either.
func (s *site) placing(ctx context.Context, form url.Values, values map[string]string, p *editPage) bool {
	if s.Jobs.Places == nil {
		return false
	}
	if pin := form.Get("pin"); pin != "" {
		parts := strings.Split(pin, "|")
		if len(parts) == 4 {
			values["site.lat"], values["site.lon"], values["site.elevation_m"], values["site.zone"] = parts[0], parts[1], parts[2], parts[3]
		}
		return true
	}
	if form.Get("find") == "" {
		return false
	}
	p.Place = strings.TrimSpace(notify.Clean(form.Get("place")))
	if n := len([]rune(p.Place)); n < 2 || n > 100 {
		p.Nobody = "Write the name of a town or village, in 2 to 100 characters."
		return true
	}
	found, err := s.Jobs.Places.Find(ctx, p.Place)
	switch {
	case err != nil:
		s.Log.Warn().Err(err).Msg("a place could not be looked for")
		p.Nobody = "The search does not answer at the moment. Type the coordinates, or try again later."
	case len(found) == 0:
		p.Nobody = "No town or village of that name was found. It knows places, not streets."
	}
	number := func(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
	for _, f := range found {
		p.Found = append(p.Found, placeLine{
			Text:  fmt.Sprintf("%s (%.4f, %.4f, %.0f m)", notify.Clean(f.Name), f.Lat, f.Lon, f.ElevationM),
			Value: number(f.Lat) + "|" + number(f.Lon) + "|" + number(f.ElevationM) + "|" + f.Zone,
		})
	}
	return true
}
