package plant

// random is a small generator of our own (splitmix64): the standard library
// promises its sequences only from version to version.
type random struct{ state uint64 }

// newRandom gives each name a stream of its own, so that one sensor more does
// not change the noise of the others.
func newRandom(seed uint64, name string) random {
	h := seed ^ 0xcbf29ce484222325
	for i := 0; i < len(name); i++ {
		h = (h ^ uint64(name[i])) * 0x100000001b3
	}
	r := random{h}
	r.next()
	return r
}

func (r *random) next() uint64 {
	r.state += 0x9e3779b97f4a7c15
	z := r.state
	z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9
	z = (z ^ (z >> 27)) * 0x94d049bb133111eb
	return z ^ (z >> 31)
}

// uniform returns a number in [0, 1).
func (r *random) uniform() float64 { return float64(r.next()>>11) / (1 << 53) }

// normal returns a number of mean 0 and variance 1: the sum of twelve uniform
// numbers less six, which has no tail beyond ±6 and needs no logarithm.
func (r *random) normal() float64 {
	sum := -6.0
	for range 3 {
		z := r.next()
		for range 4 {
			sum += float64(float64(z&0xffff) / 65536)
			z >>= 16
		}
	}
	return sum
}
