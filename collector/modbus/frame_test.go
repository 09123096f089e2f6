package modbus

import (
	"encoding/binary"
	"encoding/csv"
	"encoding/hex"
	"fmt"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/goburrow/modbus"
)

func protocolDataUnit(function byte) *modbus.ProtocolDataUnit {
	return &modbus.ProtocolDataUnit{FunctionCode: function, Data: []byte{0, 0, 0, 1}}
}

func unhex(t *testing.T, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// TestPublishedFrames: every frame of testdata/modbus.csv, whose rows carry
// their sources.
func TestPublishedFrames(t *testing.T) {
	f, err := os.Open("testdata/modbus.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	checked := 0
	for i, r := range rows[1:] {
		quantity, input, want, source := r[0], r[1], r[3], r[6]
		t.Run(fmt.Sprintf("row %d %s", i+2, quantity), func(t *testing.T) {
			checked++
			switch {
			case quantity == "crc16_check_value":
				if got := fmt.Sprintf("%04X", crc16(unhex(t, input))); got != want {
					t.Errorf("CRC %s, want %s (%s)", got, want, source)
				}
			case quantity == "crc16_byte_order":
				got := binary.LittleEndian.AppendUint16(nil, crc16(unhex(t, input)))
				if fmt.Sprintf("% X", got) != want {
					t.Errorf("CRC % X, want %s (%s)", got, want, source)
				}
			case strings.HasSuffix(quantity, "must_never_be_sent"):
				frame := unhex(t, input)
				if crc16(frame[:len(frame)-2]) != binary.LittleEndian.Uint16(frame[len(frame)-2:]) {
					t.Errorf("CRC of the published frame (%s)", source)
				}
				l := newBus(&Settings{Transport: RTU, Serial: testSerial, Timeout: 1}, nil)
				if _, err := l.Encode(&modbus.ProtocolDataUnit{FunctionCode: frame[1], Data: frame[2:6]}); err == nil {
					t.Error("a write is encoded")
				}
			case strings.HasPrefix(quantity, "crc_request"):
				frame := unhex(t, input)
				l := newBus(&Settings{Transport: RTU, Serial: testSerial, Timeout: 1}, nil)
				l.unit = frame[0]
				got, err := l.Encode(&modbus.ProtocolDataUnit{FunctionCode: frame[1], Data: frame[2:6]})
				if err != nil || string(got) != string(frame) {
					t.Errorf("encoded % X %v, want % X (%s)", got, err, frame, source)
				}
				text := fmt.Sprintf("unit %d; start %d; quantity %d", got[0], binary.BigEndian.Uint16(got[2:]), binary.BigEndian.Uint16(got[4:]))
				if text != want {
					t.Errorf("%s, want %s", text, want)
				}
			case strings.HasPrefix(quantity, "crc_response"), quantity == "crc_exception":
				reply := unhex(t, input)
				request := []byte{reply[0], reply[1] & 0x7F, 0, 0, 0, 1, 0, 0}
				switch {
				case reply[1] > 0x80:
				case reply[1] <= 2:
					binary.BigEndian.PutUint16(request[4:], uint16(reply[2])*8)
				default:
					binary.BigEndian.PutUint16(request[4:], uint16(reply[2])/2)
				}
				if f := checkRTU(request, reply); f != nil {
					t.Errorf("refused: %v (%s)", f, source)
				}
				if got, f := findRTU(request, append([]byte{0x55}, reply...)); string(got) != string(reply) {
					t.Errorf("not found behind noise: %v", f)
				}
				reply[len(reply)/2] ^= 1
				if f := checkRTU(request, reply); f == nil {
					t.Error("taken with a flipped bit")
				}
			case quantity == "mbap_request":
				l := newBus(&Settings{Timeout: 1}, nil)
				l.unit = 1
				got, err := l.Encode(&modbus.ProtocolDataUnit{FunctionCode: 3, Data: []byte{0, 0, 0, 2}})
				if err != nil || fmt.Sprintf("% X", got) != input {
					t.Errorf("encoded % X, want %s (%s)", got, input, source)
				}
			case quantity == "bits_lsb_first":
				data := unhex(t, strings.Split(input, ";")[0])
				var got strings.Builder
				for k := range uint16(22) {
					p := Point{Table: Discrete, Address: 196 + k, Bit: -1}
					if p.bit(data, 196) {
						got.WriteByte('1')
					} else {
						got.WriteByte('0')
					}
				}
				if got.String() != want {
					t.Errorf("%s, want %s (%s)", got.String(), want, source)
				}
			default:
				limits := map[string]int{"max_registers_per_read": maxRegisters, "max_bits_per_read": maxBits,
					"max_serial_adu_bytes": maxRTU, "max_tcp_adu_bytes": maxTCP, "silent_interval_above_19200_baud_us": int(fastLineSilence.Microseconds())}
				limit, ok := limits[quantity]
				if !ok {
					checked--
					return // values: collector/register; the rest are names
				}
				if strconv.Itoa(limit) != want {
					t.Errorf("limit %d, want %s (%s)", limit, want, source)
				}
			}
		})
	}
	if checked < 25 {
		t.Errorf("only %d rows checked", checked)
	}
}

// FuzzTCP: whatever comes, no crash, and what passes has the data asked for.
func FuzzTCP(f *testing.F) {
	f.Add([]byte{0, 1, 0, 0, 0, 5, 1, 3, 2, 0, 7}, uint16(1))
	f.Add([]byte{0, 1, 0, 0, 0, 3, 1, 0x83, 2}, uint16(1))
	f.Add([]byte{0, 1, 0, 0, 0, 0, 1}, uint16(1))
	f.Add([]byte{0, 1, 0, 0, 0xFF, 0xFF, 1, 3, 4, 0, 0, 0, 0}, uint16(2))
	f.Fuzz(func(t *testing.T, reply []byte, quantity uint16) {
		quantity = 1 + quantity%maxRegisters
		request := []byte{0, 1, 0, 0, 0, 6, 1, 3, 0, 0, byte(quantity >> 8), byte(quantity)}
		if checkTCP(request, reply) != nil {
			return
		}
		if reply[0] != 0 || reply[1] != 1 || reply[6] != 1 {
			t.Fatalf("took a foreign reply % X", reply)
		}
		if reply[7] == 3 && len(reply) != 9+2*int(quantity) || reply[7] != 3 && (reply[7] != 0x83 || len(reply) != 9) {
			t.Fatalf("took % X for %d registers", reply, quantity)
		}
	})
}

// FuzzRTU: the same for what a serial line brings.
func FuzzRTU(f *testing.F) {
	f.Add([]byte{0x11, 3, 6, 0xAE, 0x41, 0x56, 0x52, 0x43, 0x40, 0x49, 0xAD}, uint16(3))
	f.Add([]byte{0x11, 3, 0, 0, 0, 3, 0, 0, 0x11, 3, 6, 0xAE, 0x41, 0x56, 0x52, 0x43, 0x40, 0x49, 0xAD}, uint16(3))
	f.Add([]byte{0xFF, 0x00, 0x11, 0x83, 2, 0xC1, 0x34}, uint16(1))
	f.Fuzz(func(t *testing.T, got []byte, quantity uint16) {
		quantity = 1 + quantity%maxRegisters
		request := []byte{0x11, 3, 0, 0, byte(quantity >> 8), byte(quantity)}
		request = binary.LittleEndian.AppendUint16(request, crc16(request))
		reply, _ := findRTU(request, got)
		if reply == nil {
			return
		}
		body := reply[:len(reply)-2]
		if crc16(body) != binary.LittleEndian.Uint16(reply[len(body):]) || reply[0] != 0x11 {
			t.Fatalf("took % X", reply)
		}
		if reply[1] == 3 && len(reply) != 5+2*int(quantity) || reply[1] != 3 && (reply[1] != 0x83 || len(reply) != 5) {
			t.Fatalf("took % X for %d registers", reply, quantity)
		}
	})
}
