package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
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
	phone, newKey     bool
}

func serveCommand(c *console) *cobra.Command {
	var f serveFlags
	cmd := &cobra.Command{
		Use:   "serve",
		Short: "The same in a browser, with a library of sessions",
		Long: `Serve a library of sessions to a browser on this machine: add logs and setups,
read the sheets, set sessions side by side. Nothing leaves the machine.

With --phone, or an --addr that other machines reach, the library is locked: it
opens with the link, or the code to scan, that stands on the terminal. Nothing
is encrypted on the way: use it in a network that you trust.

The library is a folder: each session is a folder under sessions/, with its logs
as they came and its setup.toml, which report and compare read too. Stop with
Ctrl-C. One library is served by one evenfoot at a time.`,
		Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error { return c.serve(f) },
	}
	fl := cmd.Flags()
	fl.StringVar(&f.addr, "addr", "", "`host:port` to answer on; port 0 takes a free one (default 127.0.0.1:8417)")
	fl.StringVar(&f.data, "data", "", dataHelp)
	fl.StringVar(&f.beach, "beach", "", "`folder` that the page command wrote, to be served under /beach/")
	fl.BoolVar(&f.phone, "phone", false, "let phones in the same network in, with a key; listens on all addresses unless --addr says otherwise")
	fl.BoolVar(&f.newKey, "new-key", false, "make a new key: whoever has the old one is shut out")
	return cmd
}

func (c *console) serve(f serveFlags) error {
	locked, hosts, err := f.lock()
	if err != nil {
		return err
	}
	if f.beach != "" {
		if _, err := os.Stat(filepath.Join(f.beach, "index.html")); err != nil {
			return usagef("--beach %s holds no page; make one with `evenfoot page --out %s`", f.beach, f.beach)
		}
	}
	dir, err := c.libraryFolder(f.data)
	if err != nil {
		return err
	}
	// Before the library is opened: a signal from here on ends it in order.
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	s, err := site.Open(site.Config{Dir: dir, Version: versionText(), Workers: runtime.GOMAXPROCS(0),
		Locked: locked, Hosts: hosts, Beach: f.beach, Warn: c.warn, Log: slog.New(slog.NewTextHandler(c.err, nil))})
	if err != nil {
		return err
	}
	if f.newKey {
		if err := s.NewKey(); err != nil {
			return errors.Join(err, s.Close(context.Background()))
		}
	}
	ln, err := net.Listen("tcp", f.addr)
	if err != nil {
		return errors.Join(fmt.Errorf("cannot answer: %w; is another evenfoot running? choose another port with --addr", err), s.Close(context.Background()))
	}
	if err := c.tellWhere(s, ln, locked); err != nil {
		return errors.Join(err, s.Close(context.Background()))
	}
	fmt.Fprintf(c.out, "The library is in %s\nStop with Ctrl-C\n", dir)
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

// tellWhere prints the address; of a locked library the links that open it, and
// the likeliest as a code to scan.
func (c *console) tellWhere(s *site.Site, ln net.Listener, locked bool) error {
	if !locked {
		fmt.Fprintf(c.out, "evenfoot serves http://%s/\n", ln.Addr())
		return nil
	}
	links := s.Links(ln.Addr())
	if len(links) == 0 {
		return errors.New("this machine has no address in a network; connect it to the one that the phone is in")
	}
	code, err := site.QRText(links[0], c.color())
	if err != nil {
		return err
	}
	fmt.Fprintf(c.out, "evenfoot serves a locked library. Scan this with the phone, or open a link:\n%s", code)
	for _, l := range links {
		fmt.Fprintln(c.out, l)
	}
	return nil
}

// lock says whether the address is one that other machines reach, so that the
// library needs its key, and what names this machine then goes by.
func (f *serveFlags) lock() (locked bool, hosts []string, err error) {
	if f.addr == "" {
		f.addr = "127.0.0.1:8417"
		if f.phone {
			f.addr = ":8417"
		}
	}
	host, _, err := net.SplitHostPort(f.addr)
	if err != nil {
		return false, nil, usagef("--addr %q is not of the form host:port, for example 127.0.0.1:8417", f.addr)
	}
	a, err := net.ResolveTCPAddr("tcp", f.addr)
	if err != nil {
		return false, nil, usagef("--addr %q is no address of this machine: %v", f.addr, err)
	}
	switch locked = a.IP == nil || !a.IP.IsLoopback(); {
	case !locked && f.phone:
		return false, nil, usagef("--addr %s is reached from this machine alone; for --phone leave it out, or name an address of the network", f.addr)
	case !locked && f.newKey:
		return false, nil, usagef("--new-key goes with --phone: a library on %s has no key", f.addr)
	}
	hosts = append(hosts, host)
	if own, err := os.Hostname(); err == nil {
		hosts = append(hosts, own, own+".local")
	}
	return locked, hosts, nil
}
