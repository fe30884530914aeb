package station

import "testing"

func TestDueDates(t *testing.T) {
	for _, c := range []struct {
		s          Service
		done, want string
	}{
		{Service{Next: "2028-05-01"}, "", "2028-05-01"},
		{Service{Next: "2028-05-01", Remind: 30}, "2026-01-01", "2028-05-01"}, // a record that is not about this date
		{Service{Next: "2028-05-01", Remind: 30}, "2028-04-20", ""},           // done; the next date is not given yet
		{Service{Next: "2028-05-01", Remind: 30, Months: 24}, "2028-04-20", "2030-04-20"},
		{Service{Months: 12}, "2026-01-10", "2027-01-10"},
		{Service{Months: 1}, "2028-01-31", "2028-02-29"}, // 2028 is a leap year
		{Service{Months: 13}, "2026-12-31", "2028-01-31"},
		{Service{Days: 90}, "2026-01-01", "2026-04-01"},
		{Service{Months: 12}, "", ""},
		{Service{Cycles: 5}, "2026-01-01", ""},
	} {
		if got := c.s.Due(c.done); got != c.want {
			t.Errorf("%+v done %q: %q, want %q", c.s, c.done, got, c.want)
		}
	}
}

func TestServicesOfAPlate(t *testing.T) {
	p := Plate{Inspection: "2028-01-01", Service: ServiceText([]Service{{What: FilterElement, Cycles: 7}})}
	list, err := p.Services()
	if err != nil || len(list) != 2 || list[0] != (Service{What: FilterElement, Cycles: 7}) || list[1].What != TankInspection {
		t.Errorf("%+v, %v", list, err)
	}
	p.Service = "{"
	if list, err := p.Services(); err == nil || len(list) != 1 {
		t.Errorf("%+v, %v", list, err)
	}
}
