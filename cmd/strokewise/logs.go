package main

import (
	"fmt"
	"io"
	"log/slog"
)

// logFlags say how the program logs.
type logFlags struct {
	LogFormat string `enum:"text,json" default:"text" env:"STROKEWISE_LOG_FORMAT" help:"Log lines as text, or as JSON, an object a line: text, json."`
	LogLevel  string `enum:"debug,info,warn,error" default:"info" env:"STROKEWISE_LOG_LEVEL" help:"Log what is of this level or above: debug, info, warn, error."`
}

// logger returns a logger on w.
func (f *logFlags) logger(w io.Writer) *slog.Logger {
	var opt slog.HandlerOptions
	var level slog.Level
	_ = level.UnmarshalText([]byte(f.LogLevel)) // one of the flag's words
	opt.Level = level
	if f.LogFormat == "json" {
		return slog.New(slog.NewJSONHandler(w, &opt))
	}
	return slog.New(slog.NewTextHandler(w, &opt))
}

// ended reports why a command failed, in the form of the log where that is JSON.
func (f *logFlags) ended(w io.Writer, log *slog.Logger, err error) {
	if f.LogFormat == "json" {
		log.Error("ended", "error", err.Error())
		return
	}
	fmt.Fprintf(w, "strokewise: %v\n", err)
}
