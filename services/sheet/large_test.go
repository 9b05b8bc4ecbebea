package sheet_test

import (
	"bytes"
	"fmt"
	"runtime"
	"strings"
	"testing"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/sheet"
	"github.com/stretchr/testify/require"
)

const largeRows = 100_000

// largeRecords makes records of requests, all different and all good.
func largeRecords(n int) [][]string {
	first := calendar.MustDate("2027-01-01")
	records := make([][]string, n)
	for i := range records {
		records[i] = []string{
			fmt.Sprintf("R-%06d", i), fmt.Sprintf("D-%d", i%5000), sheet.Day(first.AddDays(i % 700)), sheet.Int(7 + i%36), sheet.Tenths(50 + i%900),
			sheet.Clock(calendar.Clock(i % 1440)), sheet.YesNo(i%2 == 0), []string{"normal", "high", "returning guest"}[i%3], sheet.List("oak", "elm"),
			fmt.Sprintf("owner %d wrote: please, not before noon", i),
		}
	}
	return records
}

// Far more than a large school has in a year is read whole. How long it takes
// and how much memory stays in use is for the benchmarks to say: a test that
// shares its machine can't.
func TestLargeFiles(t *testing.T) {
	t.Parallel()
	records := largeRecords(largeRows)
	for _, format := range formats {
		t.Run(format, func(t *testing.T) {
			t.Parallel()
			data := write(t, format, requests(), records)
			table, err := sheet.Read("large."+format, data, requests(), sheet.Options{})
			require.NoError(t, err)
			require.Empty(t, table.Faults)
			require.Len(t, table.Rows, largeRows)
			for _, i := range []int{0, 1, 4095, 4096, 50_000, largeRows - 1} {
				require.Equal(t, records[i], texts(requests(), table.Rows[i:i+1])[0])
				require.Equal(t, i+2, table.Rows[i].Line)
			}
		})
	}
}

// Every row faulty: all are collected up to the limit, none is lost.
func TestLargeFileOfFaults(t *testing.T) {
	t.Parallel()
	text := "code,name,born_on\n" + strings.Repeat("D-1,Rex,31.02.2027\n", largeRows)
	table := read(t, "dogs.csv", text, dogs(), sheet.Options{})
	require.Len(t, table.Rejected, largeRows)
	require.Len(t, table.Faults, sheet.MaxFaults+1)
}

func benchmarkRead(b *testing.B, format string) {
	var buf bytes.Buffer
	require.NoError(b, sheet.Write(&buf, format, requests(), largeRecords(largeRows)))
	b.SetBytes(int64(buf.Len()))
	b.ReportAllocs()
	var kept uint64
	for b.Loop() {
		var before, after runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&before)
		table, err := sheet.Read("large."+format, buf.Bytes(), requests(), sheet.Options{})
		require.NoError(b, err)
		require.Len(b, table.Rows, largeRows)
		runtime.GC()
		runtime.ReadMemStats(&after)
		kept = after.HeapAlloc - min(after.HeapAlloc, before.HeapAlloc)
		runtime.KeepAlive(table)
	}
	b.ReportMetric(float64(kept)/(1<<20), "MB-kept")
}

// Both read 100,000 records of ten columns.
func BenchmarkReadCSV(b *testing.B)  { benchmarkRead(b, "csv") }
func BenchmarkReadXLSX(b *testing.B) { benchmarkRead(b, "xlsx") }

func benchmarkWrite(b *testing.B, format string) {
	records := largeRecords(largeRows)
	b.ReportAllocs()
	for b.Loop() {
		var buf bytes.Buffer
		require.NoError(b, sheet.Write(&buf, format, requests(), records))
		b.SetBytes(int64(buf.Len()))
	}
}

func BenchmarkWriteCSV(b *testing.B)  { benchmarkWrite(b, "csv") }
func BenchmarkWriteXLSX(b *testing.B) { benchmarkWrite(b, "xlsx") }
