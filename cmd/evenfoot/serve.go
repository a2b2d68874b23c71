package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"os/signal"
	"path/filepath"
	"runtime"
	"syscall"

	"github.com/spf13/cobra"

	"evenfoot/report/site"
)

type serveFlags struct {
	addr, data, beach string
	public            bool
}

func serveCommand(c *console) *cobra.Command {
	var f serveFlags
	cmd := &cobra.Command{
		Use:   "serve",
		Short: "The same in a browser, with a library of sessions",
		Long: `Serve a library of sessions to a browser on this machine: add logs and setups,
read the sheets, set sessions side by side. Nothing leaves the machine.

The library is a folder: library.db and the files as they came, under files/.
Stop with Ctrl-C. One library is served by one evenfoot at a time.`,
		Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error { return c.serve(f) },
	}
	fl := cmd.Flags()
	fl.StringVar(&f.addr, "addr", "127.0.0.1:8417", "`host:port` to answer on; port 0 takes a free one")
	fl.StringVar(&f.data, "data", "", "`folder` of the library (default: evenfoot in your configuration folder)")
	fl.StringVar(&f.beach, "beach", "", "`folder` that the page command wrote, to be served under /beach/")
	fl.BoolVar(&f.public, "public-ok", false, "let --addr be one that other machines reach; there is no password")
	return cmd
}

func (c *console) serve(f serveFlags) error {
	host, err := c.serveHost(f)
	if err != nil {
		return err
	}
	if f.beach != "" {
		if _, err := os.Stat(filepath.Join(f.beach, "index.html")); err != nil {
			return usagef("--beach %s holds no page; make one with `evenfoot page --out %s`", f.beach, f.beach)
		}
	}
	dir := f.data
	if dir == "" {
		base, err := os.UserConfigDir()
		if err != nil {
			return usagef("there is no configuration folder for the library (%v); give one with --data", err)
		}
		dir = filepath.Join(base, "evenfoot")
	}
	// Before the library is opened: a signal from here on ends it in order.
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	s, err := site.Open(site.Config{Dir: dir, Version: versionText(), Workers: runtime.GOMAXPROCS(0),
		Public: f.public, Hosts: []string{host}, Beach: f.beach, Warn: c.warn})
	if err != nil {
		return err
	}
	ln, err := net.Listen("tcp", f.addr)
	if err != nil {
		return errors.Join(fmt.Errorf("cannot answer: %w; is another evenfoot running? choose another port with --addr", err), s.Close(context.Background()))
	}
	fmt.Fprintf(c.out, "evenfoot serves http://%s/\nThe library is in %s\nStop with Ctrl-C\n", ln.Addr(), dir)
	go func() {
		<-ctx.Done()
		stop() // a second signal ends the program at once
	}()
	if err := s.Serve(ctx, ln); err != nil {
		return err
	}
	fmt.Fprintln(c.err, "evenfoot: stopped; the library is closed")
	return nil
}

// serveHost checks the address: other machines only when that is wanted.
func (c *console) serveHost(f serveFlags) (host string, err error) {
	host, _, err = net.SplitHostPort(f.addr)
	if err != nil {
		return "", usagef("--addr %q is not of the form host:port, for example 127.0.0.1:8417", f.addr)
	}
	a, err := net.ResolveTCPAddr("tcp", f.addr)
	if err != nil {
		return "", usagef("--addr %q is no address of this machine: %v", f.addr, err)
	}
	if a.IP != nil && a.IP.IsLoopback() {
		return host, nil
	}
	if !f.public {
		return "", usagef("--addr %s can be reached from other machines, and the library has no password; keep to 127.0.0.1, or say --public-ok", f.addr)
	}
	c.warn("%s can be reached from other machines: whoever reaches it can read, add and delete sessions, and nothing is encrypted", f.addr)
	return host, nil
}
