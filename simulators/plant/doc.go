// Package plant is a refrigerating plant in equations: suction groups with
// their evaporators, valves, suction lines, header, compressors and condenser,
// and the sensors on them. Superheat, defrost, melting plateau, pulldown dip,
// hunting and floodback are what comes out; none of them is drawn.
//
// It may import the standard library's pure packages, units and refrigerant.
// Nothing else of the daemon comes in, and no clock: time is what Step adds.
//
// # Model
//
// Tubes (coil, suction line, compressor inlet) are rows of cells. A cell has a
// wall with heat capacity, a film of liquid that wets a share of the wall, and
// gas passing. Liquid is dragged along by the gas, boils where the wall is
// wetted and warm, and may leave a cell beside gas that is superheated: liquid
// and gas need time to meet. The suction pressure follows from the mass of gas
// in the low side. A thermostatic valve feels the pipe at the coil outlet
// through the lag of its bulb. Frost is water of the store's air frozen out on
// the cells; it insulates, chokes the fans, and has to be melted; cells share
// their fins, so that all of a coil melts at one plateau. Passes of tubes that
// get no air, for ice or failed fans, let their liquid through past the bulb.
// A coil in hot-gas defrost has a pressure of its own until its suction stop
// opens. Refrigerant goes into the oil of a machine that stands, and boils out
// when it starts. Mass and heat balance; what no equation gives is marked as
// common practice, or as having no source.
//
// # Determinism
//
// The same description and seed give the same values everywhere: own random
// numbers, no map is iterated, no library function whose last bit differs
// between machines runs inside a step (only +, −, ×, ÷ and the exactly rounded
// square root), and products are rounded before they are added so that no
// compiler fuses them (fused multiply-add rounds once instead of twice). A test
// looks for fused instructions in the code generated for arm64 (DEWGAP_PEERS=1). Tables
// made from the refrigerant's functions are rounded to nine digits first.
package plant
