package forecast

import (
	"bytes"
	"compress/flate"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"math"
	"time"
)

// The bounds of packed hours, so that a damaged row cannot ask for the machine's
// memory: a source's longest answer is 16 days with 92 past days (2592 hours),
// its largest ensemble 51 members over 35 days (42840 member hours).
const (
	packVersion  = 1
	maxSlots     = 10_000
	maxMembers   = 1_000
	maxPerColumn = 500_000
	maxHour      = 1 << 23 // hours since 1970: the year 2926
)

// packMagic opens every packed value.
const packMagic = "LH"

// Pack writes hours for storage: quantised (see Quantise), as differences along
// time, deflated. The same hours give the same bytes under one Go version;
// compare Digests, not bytes, across versions.
//
// Layout: "LH", version; uvarints: start (hours since 1970), slots, members, set
// of columns (bit = Var); CRC-32 (IEEE, little endian) of those and of the plain
// body; the deflated body. Body: for each column, member and slot a uvarint, 0
// for unknown, else 1 + zigzag(step − last known step of that column and member).
//
// Measured on invented runs: 19 members × 169 h × 8 measures (25 688 values)
// take 20 to 26 kB, 1 × 288 h × 10 measures 2.9 kB.
//
// It fails when Start is not a whole hour from 1970 on, when a column's length
// is not N × Members, or beyond 10 000 slots, 1000 members or 500 000 of both.
func Pack(h Hours) ([]byte, error) {
	if err := packable(h); err != nil {
		return nil, fmt.Errorf("pack hours: %w", err)
	}
	var cols uint64
	var body []byte
	for v := range h.Cols {
		col := quantiseColumn(Var(v), h.Cols[v])
		if col == nil {
			continue
		}
		cols |= 1 << v
		for m := 0; m < h.Members; m++ {
			body = appendDeltas(body, Var(v), col[m*h.N:(m+1)*h.N])
		}
	}
	head := append([]byte(packMagic), packVersion)
	for _, x := range []uint64{uint64(h.Start.Unix() / 3600), uint64(h.N), uint64(h.Members), cols} {
		head = binary.AppendUvarint(head, x)
	}
	sum := crc32.Update(crc32.ChecksumIEEE(head), crc32.IEEETable, body)
	return deflate(binary.LittleEndian.AppendUint32(head, sum), body)
}

// packable says why hours cannot be packed.
func packable(h Hours) error {
	if err := shape(h.N, h.Members); err != nil {
		return err
	}
	if s := h.Start.Unix(); s%3600 != 0 || h.Start.Nanosecond() != 0 || s < 0 || s/3600 > maxHour {
		return fmt.Errorf("start %s is not a whole hour since 1970", h.Start.Format(time.RFC3339Nano))
	}
	for v, col := range h.Cols {
		if col != nil && len(col) != h.N*h.Members {
			return fmt.Errorf("column %s has %d values, want %d slots × %d members", Var(v), len(col), h.N, h.Members)
		}
	}
	return nil
}

// shape says why n slots of so many members are out of bounds.
func shape(n, members int) error {
	if n < 1 || n > maxSlots || members < 1 || members > maxMembers || n*members > maxPerColumn {
		return fmt.Errorf("%d slots × %d members is out of bounds", n, members)
	}
	return nil
}

// appendDeltas writes one member's slots of one column.
func appendDeltas(b []byte, v Var, slots []float32) []byte {
	var last int64
	for _, x := range slots {
		c := code(v, x)
		if c == unknownCode {
			b = append(b, 0)
			continue
		}
		d := int64(c) - last
		b = binary.AppendUvarint(b, 1+(uint64(d<<1)^uint64(d>>63)))
		last = int64(c)
	}
	return b
}

// deflate appends the compressed body to head.
func deflate(head, body []byte) ([]byte, error) {
	buf := bytes.NewBuffer(head)
	w, err := flate.NewWriter(buf, flate.BestCompression)
	if err != nil {
		return nil, fmt.Errorf("pack hours: %w", err)
	}
	if _, err := w.Write(body); err != nil {
		return nil, fmt.Errorf("pack hours: %w", err)
	}
	if err := w.Close(); err != nil {
		return nil, fmt.Errorf("pack hours: %w", err)
	}
	return buf.Bytes(), nil
}

// errDamaged is the reason for packed bytes that break off or do not add up.
var errDamaged = errors.New("the bytes are damaged or cut short")

// Unpack reads what Pack wrote; the hours are quantised. Damaged, cut, padded
// or oversized bytes are errors, never hours.
func Unpack(b []byte) (Hours, error) {
	h, cols, head, rest, err := readHead(b)
	if err != nil {
		return Hours{}, fmt.Errorf("unpack hours: %w", err)
	}
	body, err := inflate(rest[4:], h.N*h.Members*cols.count())
	if err != nil {
		return Hours{}, fmt.Errorf("unpack hours: %w", err)
	}
	if crc32.Update(crc32.ChecksumIEEE(head), crc32.IEEETable, body) != binary.LittleEndian.Uint32(rest) {
		return Hours{}, fmt.Errorf("unpack hours: the checksum does not match: %w", errDamaged)
	}
	for v := Var(0); v < NVars; v++ {
		if !cols.has(v) {
			continue
		}
		if h.Cols[v], body, err = readColumn(body, v, h.N, h.Members); err != nil {
			return Hours{}, fmt.Errorf("unpack hours: column %s: %w", v, err)
		}
	}
	if len(body) > 0 {
		return Hours{}, fmt.Errorf("unpack hours: %d bytes too many: %w", len(body), errDamaged)
	}
	return h, nil
}

// columns is a set of measures.
type columns uint64

func (c columns) has(v Var) bool { return c&(1<<v) != 0 }

func (c columns) count() (n int) {
	for v := Var(0); v < NVars; v++ {
		if c.has(v) {
			n++
		}
	}
	return n
}

// readHead reads the frame; head is its bytes, rest begins with the checksum.
func readHead(b []byte) (h Hours, cols columns, head, rest []byte, err error) {
	if len(b) < 3 || string(b[:2]) != packMagic {
		return h, 0, nil, nil, errors.New("these are not packed hours")
	}
	if b[2] != packVersion {
		return h, 0, nil, nil, fmt.Errorf("version %d is not known to this program (want %d)", b[2], packVersion)
	}
	var x [4]uint64
	rest = b[3:]
	for i := range x {
		n := 0
		if x[i], n = binary.Uvarint(rest); n <= 0 || x[i] > math.MaxInt32 {
			return h, 0, nil, nil, errDamaged
		}
		rest = rest[n:]
	}
	if x[0] > maxHour || x[3] >= 1<<NVars || len(rest) < 4 {
		return h, 0, nil, nil, errDamaged
	}
	h = Hours{Start: time.Unix(int64(x[0])*3600, 0).UTC(), N: int(x[1]), Members: int(x[2])}
	return h, columns(x[3]), b[:len(b)-len(rest)], rest, shape(h.N, h.Members)
}

// maxToken is the greatest number of bytes one value can take: a difference of
// two codes is below 2^22, so its token fits four bytes.
const maxToken = 4

// inflate gives the plain body of so many values.
func inflate(b []byte, values int) ([]byte, error) {
	src := bytes.NewReader(b)
	body, err := io.ReadAll(io.LimitReader(flate.NewReader(src), int64(values)*maxToken+1))
	if err != nil {
		return nil, fmt.Errorf("%w (%w)", errDamaged, err)
	}
	if len(body) < values || len(body) > values*maxToken || src.Len() > 0 {
		return nil, errDamaged
	}
	return body, nil
}

// readColumn reads one column and gives the bytes behind it.
func readColumn(b []byte, v Var, n, members int) ([]float32, []byte, error) {
	col := make([]float32, n*members)
	var last int64
	for i := range col {
		if i%n == 0 {
			last = 0
		}
		x, used := binary.Uvarint(b)
		if used <= 0 || used > maxToken {
			return nil, nil, errDamaged
		}
		b = b[used:]
		if x == 0 {
			col[i] = unknown
			continue
		}
		last += int64((x-1)>>1) ^ -int64((x-1)&1)
		if last > maxCode || last < -maxCode {
			return nil, nil, errDamaged
		}
		col[i] = value(v, int32(last))
	}
	return col, b, nil
}
