// Package phase finds what a compressor is doing: off, start, steady, defrost,
// pulldown, or unknown; from signals where they exist, from pressures and
// temperatures where they do not.
//
// Its names of phases, stages and answers are frame's. It may import the standard
// library's pure packages, units, reading, filter, setting and frame. It must never
// import a clock or I/O: time comes with the samples, in nanoseconds of event time;
// quantities that are not known are NaN.
package phase
