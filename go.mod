module bedsaid

go 1.25.0

require (
	codeberg.org/go-pdf/fpdf v0.12.0
	github.com/agnivade/levenshtein v1.2.1
	github.com/chromedp/cdproto v0.0.0-20250724212937-08a3db8b4327
	github.com/chromedp/chromedp v0.14.2
	github.com/coder/websocket v1.8.15
	github.com/go-audio/audio v1.0.0
	github.com/go-audio/riff v1.0.0
	github.com/go-audio/wav v1.1.0
	github.com/go-fonts/dejavu v0.3.2
	github.com/google/uuid v1.6.0
	github.com/ncruces/go-sqlite3 v0.35.3
	github.com/pelletier/go-toml/v2 v2.4.3
	github.com/rogpeppe/go-internal v1.14.1
	github.com/sahilm/fuzzy v0.1.3
	github.com/spf13/cobra v1.10.2
	github.com/zalando/go-keyring v0.2.8
	golang.org/x/crypto v0.54.0
	golang.org/x/image v0.40.0
	golang.org/x/sys v0.47.0
	golang.org/x/term v0.45.0
	gonum.org/v1/gonum v0.16.0
	lukechampine.com/adiantum v1.1.1
)

require (
	github.com/chromedp/sysutil v1.1.0 // indirect
	github.com/danieljoos/wincred v1.2.3 // indirect
	github.com/go-json-experiment/json v0.0.0-20250725192818-e39067aee2d2 // indirect
	github.com/gobwas/httphead v0.1.0 // indirect
	github.com/gobwas/pool v0.2.1 // indirect
	github.com/gobwas/ws v1.4.0 // indirect
	github.com/godbus/dbus/v5 v5.2.2 // indirect
	github.com/inconshreveable/mousetrap v1.1.0 // indirect
	github.com/ncruces/go-sqlite3-wasm/v3 v3.2.35304 // indirect
	github.com/ncruces/julianday v1.0.0 // indirect
	github.com/spf13/pflag v1.0.9 // indirect
	golang.org/x/text v0.40.0 // indirect
	golang.org/x/tools v0.47.0 // indirect
)
