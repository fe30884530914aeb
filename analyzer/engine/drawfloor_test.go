package engine

import (
	"testing"

	"strokewise/analyzer/station"
)

// minutesOf closes n minutes from the i-th on, each with so many slots and a least draw.
func minutesOf(d *drawFloor, i, n, slots int, least float64) {
	for k := range n {
		d.Open, d.Slots = least, slots
		d.minute(t0.Add(int64(i+k+1) * station.Minute60))
	}
}

// The floor is the least of ten minutes, and of the open one at once: after nine minutes of 4 L/s and one of 1 L/s it is
// 1 L/s for ten minutes. A minute that was not seen ends the span, and a tank that warms makes no floor below 0.
func TestFloorIsTheLeastOfTenMinutes(t *testing.T) {
	var d drawFloor
	minutesOf(&d, 0, 9, 120, 4e-3)
	if minutesOf(&d, 9, 1, 120, 1e-3); d.N != floorSpan || d.floor() != 1e-3 {
		t.Errorf("floor %.4g m³/s of %d minutes, expected 1e-3 of 10", d.floor(), d.N)
	}
	if minutesOf(&d, 10, 9, 120, 4e-3); d.floor() != 1e-3 {
		t.Errorf("nine minutes later the floor is %.4g", d.floor())
	}
	if minutesOf(&d, 19, 1, 120, 4e-3); d.floor() != 4e-3 {
		t.Errorf("ten minutes later the floor is %.4g", d.floor())
	}
	d.Open, d.Slots = -1e-3, 1
	if d.floor() != 0 {
		t.Errorf("in the open minute nothing was drawn, and the floor is %.4g", d.floor())
	}
	if minutesOf(&d, 20, 1, floorSlots-1, 4e-3); d.N != 0 {
		t.Errorf("a minute seen for less than 55 s leaves %d in a row", d.N)
	}
}

// The first five floors are usual at once. A new one becomes usual when a whole part, half a day, has passed behind
// it: t0 lies at the begin of a part or within it, so after 12 h it is not, after 25 h it is.
func TestFloorBecomesUsual(t *testing.T) {
	var d drawFloor
	minutesOf(&d, 0, floorSpan+floorFirst, 120, 1e-3)
	if !near(d.Usual, 1e-3) {
		t.Errorf("usual %.4g, the first floors are 1e-3", d.Usual)
	}
	at := floorSpan + floorFirst
	minutesOf(&d, at, 12*60-at, 120, 3e-3)
	if d.Usual > 1e-3 {
		t.Errorf("within half a day %.4g has become usual", d.Usual)
	}
	if minutesOf(&d, 12*60, 13*60, 120, 3e-3); d.Usual < 2.8e-3 {
		t.Errorf("after 25 h the usual floor is %.4g of 3e-3, less what fades in a day", d.Usual)
	}
}

// Bounds from before the span that a steady draw has passed by half go; those of the span and higher ones stay.
func TestOutgrownBounds(t *testing.T) {
	at := t0.Add(2 * 3600e9)
	f := leakFloor{}
	f.Hours[0] = floorHour{Flow: 1e-3, At: t0}
	f.Hours[1] = floorHour{Flow: 2.1e-3, At: t0}
	f.Hours[2] = floorHour{Flow: 1e-3, At: at.Add(-5 * station.Minute60)}
	f.outgrown(3e-3, at) // 3 L/s are 1.5 times 2 L/s
	if f.Hours[0].At != 0 || f.Hours[1].At == 0 || f.Hours[2].At == 0 {
		t.Errorf("left: %v", f.Hours[:3])
	}
}
