package plant_test

import (
	"bufio"
	"dewgap/simulators/plant"
	"dewgap/simulators/scenarios"
	"fmt"
	"os"
	"strconv"
	"testing"
	"time"
)

func TestDump(t *testing.T) {
	name := os.Getenv("DUMP")
	if name == "" {
		t.Skip()
	}
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	d, err := scenarios.Decode(name, string(text))
	if err != nil {
		t.Fatal(err)
	}
	h := d.HoursFor
	if x := os.Getenv("HOURS"); x != "" {
		h, _ = strconv.ParseFloat(x, 64)
	}
	t0 := time.Now()
	p, err := plant.New(d, 1)
	if err != nil {
		t.Fatal(err)
	}
	t.Log("warm", time.Since(t0))
	f, _ := os.Create("/tmp/plant/out.csv")
	w := bufio.NewWriter(f)
	defer f.Close()
	defer w.Flush()
	fmt.Fprint(w, "min")
	for _, i := range p.Inputs() {
		fmt.Fprint(w, ",", i.Path)
	}
	for _, x := range p.Truth() {
		n := x.Group + "." + x.Compressor
		fmt.Fprintf(w, ",%s.phase,%s.liq,%s.sh,%s.ref", n, n, n, n)
	}
	for _, x := range plant.DebugNames(p) {
		fmt.Fprint(w, ",", x)
	}
	fmt.Fprintln(w)
	t0 = time.Now()
	n := int(h * 3600)
	for s := 0; s < n; s++ {
		p.Step(time.Second)
		if s%5 != 0 {
			continue
		}
		fmt.Fprintf(w, "%.3f", float64(s+1)/60)
		for i := range p.Inputs() {
			v, _ := p.Value(i)
			fmt.Fprintf(w, ",%.4g", v)
		}
		for _, x := range p.Truth() {
			fmt.Fprintf(w, ",%s,%.4f,%.2f,%.3f", x.Phase, x.LiquidFraction, x.SuperheatK, x.SumpRefrigerantKg)
		}
		for _, x := range plant.DebugValues(p) {
			fmt.Fprintf(w, ",%.4g", x)
		}
		fmt.Fprintln(w)
	}
	el := time.Since(t0)
	t.Logf("run %v, %.1f compressor-days/s", el, h/24*float64(len(p.Truth()))/el.Seconds())
	t.Log(plant.DebugBalance(p))
}
