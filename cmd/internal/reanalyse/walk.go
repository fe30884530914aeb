package reanalyse

import (
	"context"
	"errors"
	"fmt"

	"strokewise/analyzer/station"
	"strokewise/collector/samplelog"
)

// split sorts stations into the log's partitions.
func split(stations []Station) (parts [station.Partitions][]Station) {
	for _, s := range stations {
		n := s.Plate.Key.Partition()
		parts[n] = append(parts[n], s)
	}
	return parts
}

var errEnd = errors.New("end of the log")

// walk calls fn with the records of a partition, up to the position last, 0: none.
func walk(ctx context.Context, log Log, n int, last uint64, fn func(*station.Record) error) error {
	if last == 0 {
		return nil
	}
	err := log.Read(ctx, n, 0, func(e samplelog.Entry) error {
		if e.Position > last {
			return errEnd
		}
		for i := range e.Records {
			if err := fn(&e.Records[i]); err != nil {
				return err
			}
		}
		if e.Position == last {
			return errEnd
		}
		return nil
	})
	if err != nil && !errors.Is(err, errEnd) {
		return fmt.Errorf("cannot reanalyse partition %d: %w", n, err)
	}
	return nil
}
