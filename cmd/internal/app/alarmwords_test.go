package app

import (
	"testing"

	"strokewise/dashboards/board"
	"strokewise/rules"
)

// An acknowledgement leaves the alarm's words; a new occurrence does not inherit them.
func TestWordsStayWhenAcknowledged(t *testing.T) {
	raised := rules.Transition{Alarm: "pressure-left", To: rules.Unacknowledged, Raised: 5, Message: "The outlet still reads 983 kPa gauge."}
	list := withTransition(nil, &raised)
	list = withTransition(list, &rules.Transition{Alarm: "pressure-left", To: rules.Acknowledged, Raised: 5})
	if len(list) != 1 || list[0].State != rules.Acknowledged || list[0].Transition.Message != raised.Message {
		t.Errorf("after the acknowledgement: %+v", list)
	}
	list = withTransition([]board.Alarm{list[0]}, &rules.Transition{Alarm: "pressure-left", To: rules.Unacknowledged, Raised: 9})
	if list[0].Transition.Message != "" {
		t.Errorf("a new occurrence: %+v", list)
	}
}
