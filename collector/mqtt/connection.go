package mqtt

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"net/url"
	"os"
	"strings"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"

	"dewgap/analyze/reading"
)

const (
	connectTimeout = 10 * time.Second // TCP, TLS and the broker's answer
	keepAlive      = 30 * time.Second
	writeTimeout   = 3 * time.Second // the client waits for it even when the source stops
)

// tlsConfig reads the certificates of settings; nil when the URL needs none.
func tlsConfig(s *Settings, scheme string) (*tls.Config, error) {
	if scheme != "ssl" && scheme != "wss" {
		return nil, nil
	}
	c := &tls.Config{MinVersion: tls.VersionTLS12}
	if s.CAFile != "" {
		pem, err := os.ReadFile(s.CAFile)
		if err != nil {
			return nil, err
		}
		c.RootCAs = x509.NewCertPool()
		if !c.RootCAs.AppendCertsFromPEM(pem) {
			return nil, fmt.Errorf("%s: no certificate in it; want PEM", s.CAFile)
		}
	}
	if s.CertFile != "" {
		cert, err := tls.LoadX509KeyPair(s.CertFile, s.KeyFile)
		if err != nil {
			return nil, err
		}
		c.Certificates = []tls.Certificate{cert}
	}
	return c, nil
}

// checkURL returns the broker's URL with the scheme made one of tcp, ssl, ws,
// wss.
func checkURL(text string) (*url.URL, error) {
	u, err := url.Parse(text)
	if err != nil {
		return nil, errors.New("broker URL cannot be read; want tcp://host:1883")
	}
	switch u.Scheme {
	case "mqtt":
		u.Scheme = "tcp"
	case "mqtts", "tls":
		u.Scheme = "ssl"
	case "tcp", "ssl", "ws", "wss":
	default:
		return nil, fmt.Errorf("broker URL has scheme %q; want tcp, ssl, ws or wss", u.Scheme)
	}
	if u.User != nil {
		return nil, errors.New("broker URL holds a user or password; write them beside it, so that they are not shown")
	}
	if u.Host == "" {
		return nil, errors.New("broker URL has no host; want tcp://host:1883")
	}
	if u.Port() == "" && (u.Scheme == "tcp" || u.Scheme == "ssl") {
		u.Host += map[string]string{"tcp": ":1883", "ssl": ":8883"}[u.Scheme]
	}
	return u, nil
}

// dial opens the connection below MQTT. It ends with ctx.
func dial(ctx context.Context, u *url.URL, config *tls.Config) (net.Conn, error) {
	ctx, cancel := context.WithTimeout(ctx, connectTimeout)
	defer cancel()
	var conn net.Conn
	var err error
	switch u.Scheme {
	case "tcp":
		conn, err = (&net.Dialer{}).DialContext(ctx, "tcp", u.Host)
	case "ssl":
		conn, err = (&tls.Dialer{Config: config}).DialContext(ctx, "tcp", u.Host)
	default:
		conn, err = paho.NewWebsocket(u.String(), config, connectTimeout/2, nil, nil)
	}
	return conn, err
}

// reasonOf returns a code and a description of a failed connection.
func reasonOf(err error) string {
	var dns *net.DNSError
	var network net.Error
	var cert *tls.CertificateVerificationError
	var protocol protocolError
	switch {
	case errors.As(err, &protocol):
		return reading.BadFrame + ": " + protocol.Error()
	case errors.Is(err, packets.ErrorRefusedBadUsernameOrPassword), errors.Is(err, packets.ErrorRefusedNotAuthorised):
		return reading.Refused + ": the broker does not accept user name, password or certificate"
	case errors.Is(err, packets.ErrorRefusedIDRejected):
		return reading.Refused + ": the broker does not accept the client id"
	case errors.Is(err, packets.ErrorRefusedBadProtocolVersion):
		return reading.Refused + ": the broker does not speak MQTT 3.1.1"
	case errors.Is(err, packets.ErrorRefusedServerUnavailable):
		return reading.Refused + ": the broker says that it is not available"
	case errors.As(err, &cert):
		return reading.Refused + ": the broker's certificate is not trusted: " + cert.Err.Error()
	case err != nil && strings.Contains(err.Error(), "remote error: tls"):
		return reading.Refused + ": the broker does not accept our certificate, or wants one: " + err.Error()
	case errors.As(err, &dns):
		return reading.Unreachable + ": the broker's name is unknown: " + dns.Name
	case err != nil && strings.Contains(err.Error(), "connection refused"):
		return reading.Refused + ": nothing listens at the broker's address"
	case errors.As(err, &network) && network.Timeout():
		return reading.Timeout + ": the broker does not answer"
	case errors.Is(err, context.DeadlineExceeded), err != nil && strings.Contains(err.Error(), "pingresp"):
		return reading.Timeout + ": the broker does not answer"
	case err == nil, errors.Is(err, io.EOF):
		return reading.Closed + ": the broker closed the connection"
	}
	return reading.Closed + ": " + err.Error()
}
