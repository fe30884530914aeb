package export

import (
	"encoding/csv"
	"fmt"
	"io"
	"reflect"
	"strconv"
	"strings"
	"time"

	"github.com/parquet-go/parquet-go"

	"strokewise/dashboards/trail"
)

// Writer writes rows in a format. Close writes what the format ends with.
type Writer interface {
	Write(rows []Row) error
	Close() error
}

// Formats are the names of the formats of files.
var Formats = []string{"csv", "parquet"}

// NewWriter returns a writer of a format.
func NewWriter(w io.Writer, format string) (Writer, error) {
	switch format {
	case "csv":
		return newCSV(w), nil
	case "parquet":
		return newParquet(w), nil
	}
	return nil, fmt.Errorf("cannot write %q: the formats of files are %s", format, strings.Join(Formats, ", "))
}

// csvWriter writes a head and a line a row, after RFC 4180 with line feeds.
type csvWriter struct {
	w      *csv.Writer
	headed bool
}

func newCSV(w io.Writer) *csvWriter { return &csvWriter{w: csv.NewWriter(w)} }

// columns are the names of the columns.
var columns = func() (out []string) {
	t := reflect.TypeFor[Row]()
	for i := range t.NumField() {
		name, _, _ := strings.Cut(t.Field(i).Tag.Get("parquet"), ",")
		out = append(out, name)
	}
	return out
}()

// Write implements Writer.
func (c *csvWriter) Write(rows []Row) error {
	if !c.headed {
		c.headed = true
		if err := c.w.Write(columns); err != nil {
			return err
		}
	}
	line := make([]string, len(columns))
	for i := range rows {
		v := reflect.ValueOf(&rows[i]).Elem()
		for n := range line {
			line[n] = cell(v.Field(n))
		}
		if err := c.w.Write(line); err != nil {
			return err
		}
	}
	c.w.Flush()
	return c.w.Error()
}

// Close implements Writer.
func (c *csvWriter) Close() error {
	if err := c.Write(nil); err != nil { // no row: the head alone
		return err
	}
	return c.w.Error()
}

// cell returns a value as text: numbers with a point, as many digits as they have; nothing for nil.
func cell(v reflect.Value) string {
	if v.Kind() == reflect.Pointer {
		if v.IsNil() {
			return ""
		}
		v = v.Elem()
	}
	switch x := v.Interface().(type) {
	case time.Time:
		return x.Format(time.RFC3339)
	case float64:
		return strconv.FormatFloat(x, 'g', -1, 64)
	case int64:
		return strconv.FormatInt(x, 10)
	}
	return trail.Cell(v.String())
}

// mostInGroup is how many rows a group of a Parquet file has: it is held in memory until it is written.
const mostInGroup = 50_000

type parquetWriter struct{ w *parquet.GenericWriter[Row] }

func newParquet(w io.Writer) *parquetWriter {
	return &parquetWriter{parquet.NewGenericWriter[Row](w, parquet.Compression(&parquet.Zstd), parquet.MaxRowsPerRowGroup(mostInGroup), parquet.CreatedBy("strokewise", "", ""))}
}

// Write implements Writer.
func (p *parquetWriter) Write(rows []Row) error {
	_, err := p.w.Write(rows)
	return err
}

// Close implements Writer.
func (p *parquetWriter) Close() error { return p.w.Close() }
