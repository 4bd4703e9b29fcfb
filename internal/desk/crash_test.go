package desk

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/http/cookiejar"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"pochette/internal/store"
)

// crashes is how often the server is killed.
const crashes = 200

// childEnv makes the test binary a desk for the library that it names.
const childEnv = "POCHETTE_TEST_DESK"

func TestMain(m *testing.M) {
	if dir := os.Getenv(childEnv); dir != "" {
		serveChild(dir)
		return
	}
	os.Exit(m.Run())
}

func serveChild(dir string) {
	d, err := Open(Options{Library: dir, Who: "Ada"})
	if err != nil {
		fmt.Println("error:", err)
		os.Exit(1)
	}
	ln, err := Listen(0)
	if err != nil {
		fmt.Println("error:", err)
		os.Exit(1)
	}
	fmt.Println(d.Address(ln.Addr()))
	srv := &http.Server{Handler: d.Handler(), ReadHeaderTimeout: time.Minute}
	fmt.Println("error:", srv.Serve(ln)) // until it is killed
}

// A server killed without warning while it saves loses nothing that it has
// acknowledged, 200 times over: every acknowledged decision stands in the library,
// in order, with its reason, and the piece opens with it.
func TestKilledWhileSaving(t *testing.T) {
	if testing.Short() {
		t.Skip("starts 200 processes: left out with -short")
	}
	dir := t.TempDir()
	c := openDesk(t, dir)
	p := c.add("short.musicxml", invented(24))
	refs := []string{}
	for _, e := range c.piece(p).Events {
		for _, n := range e.Notes {
			refs = append(refs, n.Ref)
		}
	}
	id := p[strings.LastIndexByte(p, '/')+1:]
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 9))
	acked := map[int]string{} // reason of each acknowledged revision
	for k := range crashes {
		crashOnce(t, dir, id, refs, r, k, acked)
	}
	if len(acked) < crashes {
		t.Fatalf("only %d decisions were acknowledged in %d runs: the test tests little", len(acked), crashes)
	}
	log, err := c.d.Store().Log(id)
	if err != nil {
		t.Fatal(err)
	}
	byN := map[int]store.Entry{}
	for _, e := range log {
		byN[e.N] = e
	}
	for n, reason := range acked {
		if e, ok := byN[n]; !ok || e.Reason != reason {
			t.Errorf("revision %d was acknowledged with %q; the library has %q", n, reason, e.Reason)
		}
	}
	if err := c.d.Store().Check(); err != nil {
		t.Error(err)
	}
	v := c.piece(p)
	if v.Revision != len(log) {
		t.Errorf("the piece is at revision %d of %d", v.Revision, len(log))
	}
	t.Logf("%d decisions acknowledged, %d in the log, %d kills", len(acked), len(log), crashes)
}

// crashOnce starts a server, decides as fast as it answers, and kills it.
func crashOnce(t *testing.T, dir, id string, refs []string, r *rand.Rand, k int, acked map[int]string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, os.Args[0])
	cmd.Env = append(os.Environ(), childEnv+"="+dir)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	address, err := bufio.NewReader(out).ReadString('\n')
	if err != nil || strings.HasPrefix(address, "error:") {
		t.Fatalf("the server says %q, %v", address, err)
	}
	base, token, _ := strings.Cut(strings.TrimSpace(address), "/?t=")
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	client := &http.Client{Jar: jar}
	if res, err := client.Get(base + "/?t=" + token); err != nil {
		t.Fatal(err)
	} else {
		res.Body.Close()
	}
	var v struct{ Revision int }
	if err := getJSON(client, base+"/api/pieces/"+id, &v); err != nil {
		t.Fatal(err)
	}
	after := time.Duration(r.IntN(250)) * time.Millisecond
	timer := time.AfterFunc(after, func() { cmd.Process.Kill() })
	defer timer.Stop()
	for n := v.Revision; ; {
		reason := fmt.Sprintf("run %d on %d", k, n)
		body, err := json.Marshal(object{"base": n, "note": refs[r.IntN(len(refs))], "set": object{"bow": []string{"up", "down"}[r.IntN(2)]}, "reason": reason})
		if err != nil {
			t.Fatal(err)
		}
		req, err := http.NewRequestWithContext(ctx, "POST", base+"/api/pieces/"+id+"/decide", bytes.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		req.Header.Set(ownHeader, "1")
		res, err := client.Do(req)
		if err != nil {
			break // killed
		}
		var a answer
		err = json.NewDecoder(res.Body).Decode(&a)
		res.Body.Close()
		if err != nil {
			break // killed while it answered
		}
		if res.StatusCode == http.StatusOK {
			n = a.Revision
			acked[n] = reason
		} else if res.StatusCode != http.StatusBadRequest {
			t.Fatalf("status %d", res.StatusCode)
		}
	}
	if err := cmd.Wait(); err == nil {
		t.Fatal("the server ended by itself")
	}
}

func getJSON(c *http.Client, url string, v any) error {
	res, err := c.Get(url)
	if err != nil {
		return err
	}
	defer res.Body.Close()
	if res.StatusCode != http.StatusOK {
		return fmt.Errorf("%s: status %d", url, res.StatusCode)
	}
	return json.NewDecoder(res.Body).Decode(v)
}
