package config

import (
	"fmt"
	"io"
	"log/slog"
	"os"
	"strings"
)

const (
	redacted  = "(redacted)"
	maxSecret = 64 << 10 // bytes
)

// Secret is a text that is printed by no verb, logger or encoder. The text stands
// behind a pointer, so that it does not show inside other values either.
type Secret struct{ text *string }

// NewSecret wraps a text.
func NewSecret(text string) Secret { return Secret{text: &text} }

// Reveal gives the text, for the one who needs it.
func (s Secret) Reveal() string {
	if s.text == nil {
		return ""
	}
	return *s.text
}

// IsZero tells whether there is no text.
func (s Secret) IsZero() bool { return s.text == nil || *s.text == "" }

// String gives a placeholder, "" where there is no text.
func (s Secret) String() string {
	if s.IsZero() {
		return ""
	}
	return redacted
}

// GoString gives the placeholder.
func (s Secret) GoString() string { return s.String() }

// Format writes the placeholder whatever the verb.
func (s Secret) Format(f fmt.State, _ rune) { _, _ = io.WriteString(f, s.String()) }

// MarshalText gives the placeholder.
func (s Secret) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// MarshalJSON gives the placeholder.
func (s Secret) MarshalJSON() ([]byte, error) { return []byte(`"` + s.String() + `"`), nil }

// LogValue gives the placeholder.
func (s Secret) LogValue() slog.Value { return slog.StringValue(s.String()) }

// ReadSecret reads a secret from a file, or a variable of the environment that is named as env:NAME, less
// the line ends at its end.
func ReadSecret(path string) (Secret, error) {
	if name, ok := strings.CutPrefix(path, envPlace); ok {
		return secretEnv(name)
	}
	f, err := os.Open(path)
	if err != nil {
		return Secret{}, fmt.Errorf("cannot read secret: %w", err)
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, maxSecret+1))
	if err != nil {
		return Secret{}, fmt.Errorf("cannot read secret: %w", err)
	}
	if len(b) > maxSecret {
		return Secret{}, fmt.Errorf("cannot read secret %q: it has more than %d bytes; is it the right file?", path, maxSecret)
	}
	text := strings.TrimRight(string(b), "\r\n")
	if text == "" {
		return Secret{}, fmt.Errorf("cannot read secret %q: the file is empty", path)
	}
	return NewSecret(text), nil
}
