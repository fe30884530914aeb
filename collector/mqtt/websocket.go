package mqtt

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"net"
	"net/url"
	"sync/atomic"
	"time"

	"github.com/gorilla/websocket"
)

// subprotocol is what a broker must agree to (MQTT 3.1.1, 6).
const subprotocol = "mqtt"

// mostHandshake bounds what a broker may send before a WebSocket stands, certificates included, bytes. Own choice.
const mostHandshake = 64 << 10

// dialer makes network connections.
type dialer func(ctx context.Context, network, address string) (net.Conn, error)

// reach makes a connection to a broker: TCP, TLS, or either of them with WebSocket frames.
func reach(ctx context.Context, u *url.URL, conf *tls.Config, dial dialer) (net.Conn, error) {
	if webSocket(u.Scheme) {
		return dialWebSocket(ctx, u, conf, dial)
	}
	c, err := dial(ctx, "tcp", u.Host)
	if err != nil || !schemes[u.Scheme] {
		return c, err
	}
	if conf == nil {
		conf = &tls.Config{MinVersion: tls.VersionTLS12}
	}
	if conf = conf.Clone(); conf.ServerName == "" {
		conf.ServerName = u.Hostname()
	}
	t := tls.Client(c, conf)
	if err := t.HandshakeContext(ctx); err != nil {
		return nil, errors.Join(err, c.Close())
	}
	return t, nil
}

func webSocket(scheme string) bool { return scheme == "ws" || scheme == "wss" }

// dialWebSocket makes a WebSocket. No proxy of the environment is asked: it would see the login.
func dialWebSocket(ctx context.Context, u *url.URL, conf *tls.Config, dial dialer) (net.Conn, error) {
	var low *hesitant
	d := websocket.Dialer{TLSClientConfig: conf, Subprotocols: []string{subprotocol}, HandshakeTimeout: connectTimeout,
		NetDialContext: func(ctx context.Context, network, address string) (net.Conn, error) {
			c, err := dial(ctx, network, address)
			if err != nil {
				return nil, err
			}
			low = &hesitant{Conn: c}
			low.left.Store(mostHandshake)
			return low, nil
		}}
	ws, answer, err := d.DialContext(ctx, u.String(), nil)
	if err != nil {
		if answer != nil {
			err = fmt.Errorf("%w: the server answers %s; see the path behind the port, and whether it is a listener for WebSockets", err, answer.Status)
		}
		return nil, err
	}
	low.left.Store(-1)
	if ws.Subprotocol() != subprotocol {
		return nil, errors.Join(errors.New("the server does not agree to MQTT over WebSocket; is it an MQTT broker?"), ws.Close())
	}
	return &frames{Conn: ws}, nil
}

// hesitant is a connection that gives a bounded number of bytes until it is trusted.
type hesitant struct {
	net.Conn
	left atomic.Int64 // below 0: no bound
}

// Read implements net.Conn.
func (h *hesitant) Read(p []byte) (int, error) {
	left := h.left.Load()
	if left == 0 {
		return 0, fmt.Errorf("more than %d bytes before the WebSocket stands; is it an MQTT broker?", mostHandshake)
	}
	if left < 0 {
		return h.Conn.Read(p)
	}
	n, err := h.Conn.Read(p[:min(int64(len(p)), left)])
	h.left.Add(-int64(n))
	return n, err
}

// frames reads and writes the payload of WebSocket frames. A packet may be cut into several, and a frame may hold several packets.
type frames struct {
	*websocket.Conn
	rest io.Reader // of the present message
}

// Read implements net.Conn.
func (f *frames) Read(p []byte) (int, error) {
	for {
		if f.rest == nil {
			kind, r, err := f.NextReader()
			if err != nil {
				var closed *websocket.CloseError
				if errors.As(err, &closed) {
					err = fmt.Errorf("%w: %w", io.EOF, err)
				}
				return 0, err
			}
			if kind != websocket.BinaryMessage {
				return 0, errors.New("the broker sends text frames; is it an MQTT broker?")
			}
			f.rest = r
		}
		n, err := f.rest.Read(p)
		if errors.Is(err, io.EOF) {
			f.rest, err = nil, nil
		}
		if n > 0 || err != nil {
			return n, err
		}
	}
}

// Write implements net.Conn.
func (f *frames) Write(p []byte) (int, error) {
	if err := f.WriteMessage(websocket.BinaryMessage, p); err != nil {
		return 0, err
	}
	return len(p), nil
}

// SetDeadline implements net.Conn.
func (f *frames) SetDeadline(t time.Time) error {
	return errors.Join(f.SetReadDeadline(t), f.SetWriteDeadline(t))
}
