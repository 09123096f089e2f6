// Package bench scores the analysis against stores whose truth is known:
// phases, floodback episodes, severity, causes, circuits, flooded starts,
// sensor faults and false alarms, in one table.
//
// The stores are drawn from seeds and played by the simulator (drawn.go), or
// they are recordings with their truth beside them, made by another plant
// (folder.go). Both go through the very line that live and replay use. A plain
// detector of thresholds and timers (baseline.go) goes over the same rows, so
// that the table says what the analysis is worth. Figures may only get better:
// testdata holds their floors.
//
// It may import everything; nothing imports it but the tests beside it.
package bench
