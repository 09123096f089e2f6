package sensorcheck

import "dewgap/analyze/frame"

// hotBy is what a running machine's discharge is hotter than its suction by, K.
// Common practice, no source.
const hotBy = 25.0

// runs reports whether a phase is one of a running compressor.
func runs(p frame.Phase) bool { return p != frame.Off && p != frame.Unknown }

// isSettled reports whether a compressor runs past its start.
func isSettled(p frame.Phase) bool { return runs(p) && p != frame.Start }

// isSignalled reports whether a signal shows that a compressor runs or stands.
func isSignalled(k *frame.Compressor) bool { return k.Signal != frame.Unset }

// isDefrosting reports whether a circuit is heated or drips.
func isDefrosting(k *frame.Circuit) bool {
	return k.Stage == frame.Defrosting || k.Stage == frame.Dripping
}

// surelyRuns reports whether a compressor has settled by more evidence than its
// own line temperature: the line of a standing one warms.
func surelyRuns(k *frame.Compressor) bool {
	return isSettled(k.Phase) && (isSignalled(k) || float64(k.Discharge-k.Inlet.Temperature) > hotBy)
}

// surelyStands reports whether a signal shows that a compressor stands.
func surelyStands(k *frame.Compressor) bool { return k.Phase == frame.Off && isSignalled(k) }

// allStand reports whether no compressor of the group runs.
func allStand(x *frame.Frame) bool {
	for i := range x.Compressors {
		if x.Compressors[i].Phase != frame.Off {
			return false
		}
	}
	return true
}

// allSignalled reports whether no compressor can have started or stopped unseen.
func allSignalled(x *frame.Frame) bool {
	for i := range x.Compressors {
		if !isSignalled(&x.Compressors[i]) {
			return false
		}
	}
	return true
}
