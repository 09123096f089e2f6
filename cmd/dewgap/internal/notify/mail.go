package notify

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net/url"
	"strconv"
	"strings"

	"github.com/wneessen/go-mail"

	"dewgap/config"
)

// letterbox sends messages by mail. Each has a connection of its own: there are few.
type letterbox struct {
	set     *config.Notify
	host    string
	options []mail.Option
}

func newPost(t *config.Notify) (sender, error) {
	u, err := url.Parse(t.URL)
	if err != nil {
		return nil, errors.New("the URL cannot be used")
	}
	port, err := strconv.Atoi(u.Port())
	if err != nil {
		return nil, errors.New("the URL has no port")
	}
	roots, err := rootsOf(t.CAFile)
	if err != nil {
		return nil, err
	}
	options := []mail.Option{
		mail.WithPort(port), mail.WithTimeout(sendLimit),
		mail.WithTLSConfig(&tls.Config{RootCAs: roots, ServerName: u.Hostname(), MinVersion: tls.VersionTLS12}),
	}
	switch {
	case u.Scheme == "smtps":
		options = append(options, mail.WithSSL())
	case config.Loopback(u.Host): // nobody listens in between
		options = append(options, mail.WithTLSPolicy(mail.TLSOpportunistic))
	default:
		options = append(options, mail.WithTLSPolicy(mail.TLSMandatory))
	}
	if t.Username != "" {
		options = append(options, mail.WithSMTPAuth(mail.SMTPAuthAutoDiscover), mail.WithUsername(t.Username), mail.WithPassword(string(t.Password)))
	}
	return &letterbox{set: t, host: u.Hostname(), options: options}, nil
}

func (p *letterbox) close() {}

func (p *letterbox) send(ctx context.Context, m *Message) error {
	letter, err := p.letter(m)
	if err != nil {
		return &failure{reason: err.Error(), verdict: refused}
	}
	client, err := mail.NewClient(p.host, p.options...)
	if err != nil {
		return &failure{reason: err.Error(), verdict: refused}
	}
	if err := client.DialWithContext(ctx); err != nil {
		return &failure{reason: fmt.Sprintf("%s: %v", p.set.Address(), err), sure: true}
	}
	err = client.Send(letter)
	closing := client.Close()
	if err == nil {
		_ = closing // the letter was taken before
		return nil
	}
	f := &failure{reason: fmt.Sprintf("%s: %v", p.set.Address(), err)}
	var s *mail.SendError
	if errors.As(err, &s) && s.ErrorCode() > 0 {
		f.sure = true // the server has said no
		if s.ErrorCode() >= 500 && !s.IsTemp() {
			f.verdict = refused
		}
	}
	return f
}

// letter returns m as plain text. Its id is made of the message's, so that a
// receiver can tell a repetition.
func (p *letterbox) letter(m *Message) (*mail.Msg, error) {
	letter := mail.NewMsg()
	if err := letter.From(p.set.From); err != nil {
		return nil, err
	}
	if err := letter.To(p.set.To...); err != nil {
		return nil, err
	}
	letter.Subject(m.Title)
	_, domain, _ := strings.Cut(strings.Trim(p.set.From, "<> "), "@")
	letter.SetMessageIDWithValue(m.ID + "@" + strings.Trim(domain, "<> "))
	letter.SetDateWithValue(m.Time)
	letter.SetGenHeader("Auto-Submitted", "auto-generated") // RFC 3834
	letter.SetBodyString(mail.TypeTextPlain, m.Text)
	return letter, nil
}
