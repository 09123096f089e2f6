//go:build unix

package modbus

import (
	"context"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"testing"
	"time"

	"dewgap/analyze/reading"
	"dewgap/collector"
	"dewgap/simulators/devices"

	"golang.org/x/sync/errgroup"
)

// The device of the benchmarks is a process of its own, so that its cost is
// not counted: this test binary, which serves when the environment asks for it.
func TestBenchDevice(t *testing.T) {
	if os.Getenv("DEWGAP_BENCH_DEVICE") == "" {
		t.Skip("the benchmarks' own server")
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	go func() { io.Copy(io.Discard, os.Stdin); cancel() }() // leaves with its parent
	fmt.Printf("listening %s\n", listener.Addr())
	(&devices.ModbusDevice{Registers: &plant{}}).Serve(ctx, listener)
}

func benchDevice(b *testing.B) string {
	b.Helper()
	cmd := exec.Command(os.Args[0], "-test.run=^TestBenchDevice$", "-test.timeout=0")
	cmd.Env = append(os.Environ(), "DEWGAP_BENCH_DEVICE=1")
	in, err := cmd.StdinPipe()
	if err != nil {
		b.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		b.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { in.Close(); cmd.Wait() })
	var address string
	if _, err := fmt.Fscanf(out, "listening %s\n", &address); err != nil {
		b.Fatal(err)
	}
	go io.Copy(io.Discard, out)
	return address
}

func cpu() time.Duration {
	var u syscall.Rusage
	syscall.Getrusage(syscall.RUSAGE_SELF, &u)
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

type discard struct{}

func (discard) Put(r reading.Reading) {}

// BenchmarkBareLoop is the yardstick: the same reads, no checks.
func BenchmarkBareLoop(b *testing.B) {
	c, err := net.Dial("tcp", benchDevice(b))
	if err != nil {
		b.Fatal(err)
	}
	defer c.Close()
	request := []byte{0, 1, 0, 0, 0, 6, 1, 3, 0, 0, 0, 20}
	reply := make([]byte, 9+40)
	start := cpu()
	for b.Loop() {
		if _, err := c.Write(request); err != nil {
			b.Fatal(err)
		}
		if _, err := io.ReadFull(c, reply); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64((cpu()-start).Microseconds())/float64(b.N), "cpu-µs/read")
}

// BenchmarkCoalescedRead is one read of 20 points, decoded and delivered.
func BenchmarkCoalescedRead(b *testing.B) {
	var points []Point
	for i := range uint16(20) {
		points = append(points, hundredths(1, Holding, i))
	}
	s, err := New(Settings{Name: "bench", Address: benchDevice(b), Timeout: time.Second, Period: time.Second, Gap: 8, Points: numbered(points...)},
		Options{Clock: collector.NewRealClock()})
	if err != nil {
		b.Fatal(err)
	}
	s.out, s.bus = discard{}, newBus(&s.settings, s.dial)
	defer s.bus.close()
	b.ReportAllocs()
	start := cpu()
	for b.Loop() {
		if f := s.read(b.Context(), s.jobs[0].blocks[0]); f != nil {
			b.Fatal(f)
		}
	}
	b.ReportMetric(float64((cpu()-start).Microseconds())/float64(b.N), "cpu-µs/read")
}

// BenchmarkTwoHundredUnits runs 200 units of 20 registers every 5 s: behind one
// gateway, and each on its own connection. Four periods are measured, after a
// first one in which all connect.
func BenchmarkTwoHundredUnits(b *testing.B) {
	const period = 5 * time.Second
	for _, buses := range []int{1, 200} {
		b.Run(fmt.Sprint(buses, " connections"), func(b *testing.B) {
			address := benchDevice(b)
			for b.Loop() {
				ctx, cancel := context.WithCancel(b.Context())
				var all errgroup.Group
				for bus := range buses {
					var points []Point
					for unit := range 200 / buses {
						for i := range uint16(20) {
							points = append(points, hundredths(uint8(unit+1), Holding, i))
						}
					}
					s, err := New(Settings{Name: fmt.Sprint("bus-", bus), Address: address, Timeout: time.Second, Period: period, Gap: 8, Points: numbered(points...)},
						Options{Clock: collector.NewRealClock()})
					if err != nil {
						b.Fatal(err)
					}
					all.Go(func() error { return s.Run(ctx, discard{}) })
				}
				<-time.After(period)
				begun, busy := time.Now(), cpu()
				<-time.After(4 * period)
				b.ReportMetric(100*(cpu()-busy).Seconds()/time.Since(begun).Seconds(), "%core")
				b.ReportMetric(resident(b), "MB-resident")
				cancel()
				if err := all.Wait(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func resident(b *testing.B) float64 {
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		b.Skip(err)
	}
	_, rest, _ := strings.Cut(string(status), "VmRSS:")
	var kB float64
	fmt.Sscan(rest, &kB)
	return kB / 1024
}
