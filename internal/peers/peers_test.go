package peers

import (
	"math"
	"net/http"
	"strings"
	"testing"
	"time"
)

// Aim: what tests rest on rests on something. A line written by hand is read back from either store as the row it means, after a kill where
// the store promises that.
func TestStores_readBackWhatWasWritten(t *testing.T) {
	now := time.Now().UnixMilli()
	lines := "ph,site=s,area=a,station=tank-1,point=ph,quality=uncertain,board=b value=4.312 1700000000123\n" +
		"ph,site=s,area=a,station=tank-1,point=ph,quality=bad,board=b missing=1 1700000000124\n"
	for name, s := range map[string]Store{"influxd": StartInflux(t), "victoria-metrics": StartVictoriaMetrics(t)} {
		address, org, bucket, token := s.Write()
		req, err := http.NewRequestWithContext(t.Context(), http.MethodPost, address+"/api/v2/write?precision=ms&org="+org+"&bucket="+bucket, strings.NewReader(lines))
		if err != nil {
			t.Fatal(err)
		}
		req.Header.Set("Authorization", "Token "+token)
		resp, err := http.DefaultClient.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
		if resp.StatusCode != http.StatusNoContent {
			t.Fatalf("%s: %s", name, resp.Status)
		}
		if name == "influxd" {
			s.Kill()
			s.Start()
		}
		rows := s.Rows(t)
		want := Row{"ph", "s", "a", "tank-1", "ph", "b", 1700000000123, 4.312, "uncertain"}
		if len(rows) != 2 || rows[0] != want || !math.IsNaN(rows[1].Value) || rows[1].Quality != "bad" {
			t.Errorf("%s: %+v at %d", name, rows, now)
		}
	}
}

func TestMosquitto_comesBackAtItsAddress(t *testing.T) {
	m := StartMosquitto(t)
	m.Kill()
	if listens(m.Address)() == nil {
		t.Fatal("it still listens after the kill")
	}
	m.Start()
	if err := listens(m.Address)(); err != nil {
		t.Fatal(err)
	}
}
