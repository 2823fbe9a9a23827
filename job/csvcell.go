package job

import (
	"encoding/json"
	"fmt"
	"strings"
)

// cellKind says how the text of a cell is read.
type cellKind int

const (
	textCell cellKind = iota
	numberCell
	flagCell
	wordsCell // texts divided by ";", or by spaces where there is no ";"
	datesCell // dates divided by ";" or spaces
	shapeCell // width x length, for an L less width x length of the corner left out: 5x4-2x1.5
	edgesCell // kind:length_m, divided by ";"
	needsCell // what|lead_days|ordered, divided by ";"
)

// column is a column of a CSV import: its name is the path of a field of the
// JSON import with dots.
type column struct {
	name string
	kind cellKind
}

// rowColumn says what a row is: "job" (also when it is empty or not there) or
// "crew". The rows of both kinds share the columns that both have.
const rowColumn = "row"

// csvColumns gives every column that an import may have.
func csvColumns() []column {
	return []column{
		{rowColumn, textCell}, {"id", textCell}, {"title", textCell},
		{"customer.name", textCell}, {"customer.email", textCell},
		{"site.address", textCell}, {"site.lat", numberCell}, {"site.lon", numberCell}, {"site.elevation_m", numberCell}, {"site.zone", textCell},
		{"phone", textCell},
		{"notes.access", textCell}, {"notes.parking", textCell}, {"notes.power_water", textCell}, {"notes.neighbours", textCell}, {"notes.room_below", textCell},
		{"needs", needsCell}, {"hold_reason", textCell},
		{"roof.area_m2", numberCell}, {"roof.shape", shapeCell}, {"roof.work", textCell}, {"roof.deck", textCell}, {"roof.shade", numberCell}, {"roof.exposure", numberCell},
		{"roof.edges", edgesCell}, {"roof.outlets", numberCell},
		{"skill", textCell}, {"value", numberCell}, {"abort_cost", numberCell}, {"late_cost_per_day", numberCell},
		{"earliest", textCell}, {"promised", textCell}, {"deadline", textCell}, {"blackout", datesCell},
		{"profile", textCell}, {"invite", flagCell},
		// of crews
		{"name", textCell}, {"size", numberCell}, {"skills", wordsCell}, {"plan_b", wordsCell}, {"email", textCell}, {"absences", datesCell},
		{"depot.lat", numberCell}, {"depot.lon", numberCell},
	}
}

// cellValue gives the JSON value that a cell stands for.
func cellValue(k cellKind, cell string) value {
	switch k {
	case numberCell:
		return numberOf(cell)
	case flagCell:
		return flagOf(cell)
	case wordsCell:
		if strings.Contains(cell, ";") {
			return listOf(strings.Split(cell, ";"), textOf)
		}
		return listOf(strings.Fields(cell), textOf)
	case datesCell:
		return listOf(strings.Fields(strings.ReplaceAll(cell, ";", " ")), textOf)
	case shapeCell:
		whole, notch, _ := strings.Cut(strings.ToLower(cell), "-")
		w, l, _ := strings.Cut(whole, "x")
		nw, nl, _ := strings.Cut(notch, "x")
		return objectOf([]string{"width_m", "length_m", "notch_width_m", "notch_length_m"}, numberOf(w), numberOf(l), numberOf(nw), numberOf(nl))
	case edgesCell:
		return listOf(strings.Split(cell, ";"), func(item string) value {
			kind, length, _ := strings.Cut(item, ":")
			return objectOf([]string{"kind", "length_m"}, textOf(strings.TrimSpace(kind)), numberOf(length))
		})
	case needsCell:
		return listOf(strings.Split(cell, ";"), func(item string) value {
			parts := append(strings.SplitN(item, "|", 3), "", "")
			return objectOf([]string{"what", "lead_days", "ordered"}, textOf(strings.TrimSpace(parts[0])), numberOf(parts[1]), flagOf(parts[2]))
		})
	}
	return textOf(strings.TrimSpace(cell)) // dates and words with a stray space are meant
}

func textOf(s string) value { return value{kind: textValue, text: s} }

// listOf makes a list of the items that are not blank.
func listOf(items []string, one func(string) value) value {
	v := value{kind: listValue}
	for _, item := range items {
		if item = strings.TrimSpace(item); item != "" {
			v.items = append(v.items, one(item))
		}
	}
	return v
}

// objectOf makes an object of the values that are there.
func objectOf(keys []string, values ...value) value {
	v := value{kind: objectValue}
	for i, x := range values {
		if x.kind != nullValue && (x.kind != textValue || x.text != "") {
			v.keys, v.items = append(v.keys, keys[i]), append(v.items, x)
		}
	}
	return v
}

// numberOf reads a number as JSON writes it. Any other text becomes a value
// whose kind is that text, so that the complaint about it shows it.
func numberOf(cell string) value {
	s := strings.TrimSpace(cell)
	first := strings.TrimPrefix(s, "-")
	switch {
	case s == "":
		return value{kind: nullValue}
	case first != "" && first[0] >= '0' && first[0] <= '9' && json.Valid([]byte(s)):
		return value{kind: numberValue, text: s}
	case strings.Contains(s, ","):
		return value{kind: valueKind(fmt.Sprintf("%q; write 1250.50: a point for the decimals, nothing between thousands", cut(clean(s), 40)))}
	}
	return value{kind: valueKind(fmt.Sprintf("%q", cut(clean(s), 40)))}
}

// flagOf reads true or false in any case, as spreadsheets write them, or yes
// or no.
func flagOf(cell string) value {
	s := strings.TrimSpace(cell)
	switch strings.ToLower(s) {
	case "":
		return value{kind: nullValue}
	case "true", "yes":
		return value{kind: boolValue, text: "true"}
	case "false", "no":
		return value{kind: boolValue, text: "false"}
	}
	return value{kind: valueKind(fmt.Sprintf("%q", cut(clean(s), 40)))}
}
