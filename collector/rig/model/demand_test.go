package model

// constant is a demand of one flow (m³/s ANR).
func constant(flow float64) Demand { return Demand{Steps: []DemandStep{{Flow: flow}}} }
