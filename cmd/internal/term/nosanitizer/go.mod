module github.com/microcosm-cc/bluemonday

go 1.26.0

require golang.org/x/net v0.61.0
