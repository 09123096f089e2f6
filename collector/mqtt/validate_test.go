package mqtt

import (
	"bytes"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"

	"dewgap/analyze/reading"
)

// Packets as MQTT 3.1.1 has them.
var (
	connack  = []byte{0x20, 2, 0, 0}           // 3.2
	suback   = []byte{0x90, 4, 0, 1, 1, 1}     // 3.9, two codes
	pingresp = []byte{0xD0, 0}                 // 3.13
	publish  = []byte{0x30, 4, 0, 1, 't', '1'} // 3.3, QoS 0
	pubrel   = []byte{0x62, 2, 0, 1}           // 3.6
	puback   = []byte{0x40, 2, 0, 1}           // 3.4, to what we never send
	huge     = []byte{0x30, 0xFF, 0xFF, 0xFF, 0x7F}
	endless  = []byte{0x30, 0xFF, 0xFF, 0xFF, 0xFF, 1}
	suback3  = []byte{0x90, 5, 0, 1, 1, 1, 1}
	suback1  = []byte{0x90, 3, 0, 1, 1}
	oddReply = []byte{0x20, 2, 0, 17}
)

func TestGuardKeepsThePacketsThatTheLibraryCannotStand(t *testing.T) {
	join := func(all ...[]byte) []byte { return bytes.Join(all, nil) }
	for name, c := range map[string]struct {
		sent  []byte
		fault string
	}{
		"a session":              {join(connack, suback, publish, pingresp, publish, pubrel), ""},
		"a refusal":              {[]byte{0x20, 2, 0, 5}, ""},
		"unknown answer":         {oddReply, "unknown answer 17"},
		"too many codes":         {join(connack, suback3), "3 answers to 2"},
		"too few codes":          {join(connack, suback1), "1 answers to 2"},
		"no answer":              {join(suback, connack), "something else before"},
		"two answers":            {join(connack, connack), "CONNACK out of place"},
		"long answer":            {[]byte{0x20, 3, 0, 0, 0}, "CONNACK out of place"},
		"too large to hold":      {join(connack, []byte{0x62, 0xFF, 0xFF, 0xFF, 0x7F}), "packet of 268435455 bytes"},
		"shorter than its topic": {join(connack, []byte{0x30, 4, 0, 3, 't', '1'}), "shorter than its topic"},
		"no topic":               {join(connack, []byte{0x30, 1, 0}), "without a topic"},
		"length without end":     {join(connack, endless), "without end"},
		"a client's packet":      {join(connack, []byte{0x82, 2, 0, 1}), "type 8"},
		"thanks for nothing":     {join(connack, puback), "type 4"},
		"leave taken":            {join(connack, []byte{0xE0, 0}), "the broker closed the session"},
		"type 15":                {join(connack, []byte{0xF0, 0}), "type 15"},
		"a large one that is ok": {join(connack, []byte{0x30, 0x80, 0x80, 0x40}, make([]byte, 1<<20), pingresp), ""},
	} {
		var asked atomic.Int32
		asked.Store(2)
		_, err := (&validatingConn{asked: &asked}).filter(nil, c.sent)
		if (err == nil) != (c.fault == "") || err != nil && !strings.Contains(err.Error(), c.fault) {
			t.Errorf("%s: %v, want %q", name, err, c.fault)
		}
	}
}

// FuzzGuard: however the bytes are cut, the verdict is the same; and what
// passes as one packet after another is what the library's own decoder takes
// for as many.
func FuzzGuard(f *testing.F) {
	for _, s := range [][]byte{connack, suback, publish, pubrel, huge, endless, suback3, oddReply} {
		f.Add(append(bytes.Clone(connack), s...), uint8(3))
		f.Add(s, uint8(1))
	}
	f.Add(bytes.Join([][]byte{connack, {0x32, 14, 0, 2, 't', '/', 0, 7}, []byte("12345678"), publish}, nil), uint8(2))
	f.Fuzz(func(t *testing.T, sent []byte, cut uint8) {
		var asked atomic.Int32
		asked.Store(2)
		const keep = 5
		whole := &validatingConn{asked: &asked, keep: keep}
		passed, wholeErr := whole.filter(nil, sent)
		pieces := &validatingConn{asked: &asked, keep: keep}
		var err error
		var passedPieces []byte
		for rest := sent; len(rest) > 0 && err == nil; {
			n := min(int(cut%7)+1, len(rest))
			passedPieces, err = pieces.filter(passedPieces, rest[:n])
			rest = rest[n:]
		}
		if (err == nil) != (wholeErr == nil) || err == nil && (whole.packets != pieces.packets || whole.left != pieces.left || whole.state != pieces.state || !bytes.Equal(passed, passedPieces)) {
			t.Fatalf("in one %v %+v, in pieces %v %+v", wholeErr, whole, err, pieces)
		}
		if wholeErr != nil {
			return
		}
		n := uint64(0)
		for r := bytes.NewReader(passed); ; n++ {
			p, err := packets.ReadPacket(r)
			if err != nil {
				break
			}
			if message, ok := p.(*packets.PublishPacket); ok && len(message.Payload) > keep {
				t.Fatalf("a payload of %d bytes passed, at most %d may", len(message.Payload), keep)
			}
		}
		if n > whole.packets {
			t.Fatalf("%d packets, counted as %d", n, whole.packets)
		}
	})
}

// FuzzBroker: whatever a broker sends, before or after its answers, the
// client library behind the guard does not crash, no value comes of nothing,
// and we can leave.
func FuzzBroker(f *testing.F) {
	f.Add(connack, suback, publish)
	f.Add(oddReply, suback, publish)
	f.Add(connack, suback3, []byte{0x36, 6, 0, 1, 't', 0, 0, '1'})
	f.Add(connack, []byte{0x90, 4, 0, 0, 1, 0x80}, pubrel)
	f.Add([]byte{0x20, 2, 0, 5}, []byte{}, []byte{0xFF, 0xFF})
	f.Fuzz(func(t *testing.T, first, second, third []byte) {
		synctest.Test(t, func(t *testing.T) {
			broker := &scripted{play: func(_ int, c *peer) {
				c.next() // CONNECT
				c.Write(first)
				select { // SUBSCRIBE
				case <-c.in:
				case <-time.After(time.Second):
				}
				c.Write(second)
				c.Write(third)
				<-time.After(time.Second)
			}}
			_, out, stop := broker.run(t, nil)
			all := out.pass(10 * time.Second)
			stop()
			broker.all.Wait()
			if broker.conns == 0 {
				t.Error("no connection")
			}
			sent := string(first) + string(second) + string(third)
			if good := counted(all, func(r reading.Reading) bool { return r.Quality == reading.Good }); good > 0 && !strings.Contains(sent, "rack/") {
				t.Errorf("%d values out of nothing", good)
			}
		})
	})
}

// TestTrap48AMessageIsCutWhereItIsTooLong: the library gets the packet with as
// much of the payload as is kept; what follows is whole.
func TestTrap48AMessageIsCutWhereItIsTooLong(t *testing.T) {
	message := func(first byte, id string, payload string) []byte {
		body := append([]byte{0, 2, 't', '/'}, id...)
		body = append(body, payload...)
		return append(appendHeader(nil, first, len(body)), body...)
	}
	long := strings.Repeat("x", 300)
	for name, c := range map[string]struct{ sent, want []byte }{
		"QoS 0":          {message(0x30, "", long), message(0x30, "", "xxxxx")},
		"retained":       {message(0x31, "", long), message(0x31, "", "xxxxx")},
		"QoS 1 keeps id": {message(0x32, "\x00\x07", long), message(0x32, "\x00\x07", "xxxxx")},
		"QoS 2 keeps id": {message(0x34, "\x00\x07", long), message(0x34, "\x00\x07", "xxxxx")},
		"just as long":   {message(0x32, "\x00\x07", "xxxxx"), message(0x32, "\x00\x07", "xxxxx")},
		"empty":          {message(0x30, "", ""), message(0x30, "", "")},
	} {
		for cut := 1; cut < 20; cut++ {
			var asked atomic.Int32
			conn := &validatingConn{asked: &asked, keep: 5}
			var passed []byte
			for rest := bytes.Join([][]byte{connack, c.sent, publish}, nil); len(rest) > 0; {
				n := min(cut, len(rest))
				var err error
				if passed, err = conn.filter(passed, rest[:n]); err != nil {
					t.Fatalf("%s: %v", name, err)
				}
				rest = rest[n:]
			}
			if want := bytes.Join([][]byte{connack, c.want, publish}, nil); !bytes.Equal(passed, want) {
				t.Errorf("%s, %d bytes at a time: % x, want % x", name, cut, passed, want)
			}
		}
	}
}
