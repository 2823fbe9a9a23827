package load

import (
	"fmt"
	"slices"
	"strings"

	"go.yaml.in/yaml/v4"

	"laycast/job"
	"laycast/rules/datafile"
	"laycast/rules/mix"
)

type decoder struct {
	*datafile.Reader
	m Materials
}

func (d *decoder) file(data []byte) {
	sections := []string{"board", "trim", "mat", "bandage", "resin", "topcoat", "primer", "catalyst"}
	root, ok := d.Root(data, slices.Concat([]string{"name", "source"}, sections, []string{"dose", "packs", "kit"}))
	if !ok {
		return
	}
	d.m.Name = d.Text(root, "name", "a short name")
	d.m.Source = d.Text(root, "source", `where its values come from, such as "common practice, no source"`)
	d.numbers(root, sections)
	d.dose(root)
	d.packs(root)
	d.kit(root)
}

func (d *decoder) numbers(root datafile.Mapping, sections []string) {
	fields := d.m.fields()
	for _, name := range sections {
		var known []string
		for _, f := range fields {
			if f.section == name {
				known = append(known, f.key)
			}
		}
		s, ok := d.Section(root, name, known)
		if !ok {
			continue
		}
		for _, f := range fields {
			if f.section == name {
				d.Number(s, f.key, f.into, f.lo, f.hi, f.unit)
			}
		}
	}
}

// list gives the mappings of a list under a key of the file.
func (d *decoder) list(root datafile.Mapping, key, example string, known []string, each func(datafile.Mapping)) {
	v := d.Get(root, key, "a list such as `- "+example+"`")
	if v == nil {
		return
	}
	if v.Kind != yaml.SequenceNode || len(v.Content) == 0 {
		d.Complain(v.Line, key, "must be a list such as `- %s`", example)
		return
	}
	for _, n := range v.Content {
		if n.Kind != yaml.MappingNode {
			d.Complain(n.Line, key, "each is written as `%s`", example)
			continue
		}
		each(d.Keys(key+".", n, known))
	}
}

// dose reads the table of doses: bands without a gap, the coldest first, and
// no dose above the one before it.
func (d *decoder) dose(root datafile.Mapping) {
	d.list(root, "dose", "{from: 10, to: 15, percent: 2.5}", []string{"from", "to", "percent", "source"}, func(m datafile.Mapping) {
		var b mix.Band
		from := d.Number(m, "from", &b.From, -5, 60, "°C of the deck")
		to := d.Number(m, "to", &b.To, -5, 60, "°C of the deck")
		pct := d.Number(m, "percent", &b.Pct, leastDose, mostDose, "% by mass")
		if m.Node("source") != nil {
			d.Sources["dose"] = d.Text(m, "source", "where the dose comes from")
		}
		if !from || !to || !pct {
			return
		}
		if b.To <= b.From {
			d.Complain(m.Line, "dose", "ends at %g °C, where it begins (%g °C) or before; the coldest comes first", b.To, b.From)
			return
		}
		if k := len(d.m.Bands); k > 0 {
			last := d.m.Bands[k-1]
			switch {
			case b.From != last.To:
				d.Complain(m.Line, "dose", "begins at %g °C, but the row before it ends at %g °C; leave no gap and no overlap", b.From, last.To)
			case b.Pct > last.Pct:
				d.Complain(m.Line, "dose", "%g %% is more than the %g %% of the colder row before it; a colder deck takes more", b.Pct, last.Pct)
			}
		}
		d.m.Bands = append(d.m.Bands, b)
	})
}

// mostMoney bounds the price of a pack: beyond it a digit has slipped.
const mostMoney job.Money = 100_000_00

// pack reads how one item is bought.
func (d *decoder) pack(m datafile.Mapping, sizeRequired bool) Pack {
	p := Pack{Size: 1}
	if sizeRequired || m.Node("pack") != nil {
		d.Number(m, "pack", &p.Size, 0.01, 100_000, "in the item's unit")
	}
	v := m.Node("price")
	if v == nil {
		return p
	}
	const want = "the price of a pack, with at most 2 decimals; leave it out where it is not known"
	price, err := job.ParseMoney(v.Value)
	if v.Kind != yaml.ScalarNode || err != nil || price < 0 || price > mostMoney {
		d.Complain(v.Line, m.Path+"price", "%q is not %s", datafile.Shorten(v.Value), want)
		return p
	}
	p.Price = price
	return p
}

func (d *decoder) packs(root datafile.Mapping) {
	d.m.Packs = map[string]Pack{}
	s, ok := d.Section(root, "packs", packed())
	if !ok {
		return
	}
	for _, item := range packed() {
		v := d.Get(s, item, "{pack: 1}")
		if v == nil {
			continue
		}
		if v.Kind != yaml.MappingNode {
			d.Complain(v.Line, "packs."+item, "is written as `{pack: 10, price: 49.50}`")
			continue
		}
		d.m.Packs[item] = d.pack(d.Keys("packs."+item+".", v, []string{"pack", "price"}), true)
	}
}

// mostText bounds the words of a kit's item.
const mostText = 80

func (d *decoder) kit(root datafile.Mapping) {
	known := []string{"item", "unit", "note", "source", "per_job", "per_hand", "per_hand_day", "per_m2", "pack", "price", "when"}
	d.list(root, "kit", "{item: goggles, unit: pieces, per_hand: 1}", known, func(m datafile.Mapping) {
		k := Kit{Item: d.Text(m, "item", "its name"), Unit: d.Text(m, "unit", "what is counted, such as pieces"), Pack: d.pack(m, false), When: WhenBoth}
		for key, into := range map[string]*string{"note": &k.Note, "source": &k.Source, "when": &k.When} {
			if m.Node(key) != nil {
				*into = d.Text(m, key, "a text")
			}
		}
		rates := 0.0
		for key, into := range map[string]*float64{"per_job": &k.PerJob, "per_hand": &k.PerHand, "per_hand_day": &k.PerHandDay, "per_m2": &k.PerM2} {
			if m.Node(key) != nil {
				d.Number(m, key, into, 0, 1000, "in the item's unit")
			}
			rates += *into
		}
		switch {
		case len(k.Item)+len(k.Unit)+len(k.Note) > 3*mostText:
			d.Complain(m.Line, "kit", "item, unit and note are longer than %d letters together", 3*mostText)
		case slices.Contains(packed(), k.Item) || slices.ContainsFunc(d.m.Kit, func(x Kit) bool { return x.Item == k.Item }):
			d.Complain(m.Line, "kit.item", "%q is listed already; keep one", datafile.Shorten(k.Item))
		case !slices.Contains([]string{WhenLay, WhenCoat, WhenBoth}, k.When):
			d.Complain(m.Line, "kit.when", "%q is not known; write lay, coat or both", datafile.Shorten(k.When))
		case rates <= 0:
			d.Complain(m.Line, "kit", "%s says nowhere how many; give one of per_job, per_hand, per_hand_day, per_m2", strings.TrimSpace(fmt.Sprintf("%.80q", k.Item)))
		}
		d.m.Kit = append(d.m.Kit, k)
	})
}
