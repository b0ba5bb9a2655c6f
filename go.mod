module fornix

go 1.26.0

require (
	github.com/google/go-cmp v0.7.0
	github.com/pelletier/go-toml/v2 v2.4.3
	golang.org/x/image v0.25.0
	gonum.org/v1/gonum v0.17.0
)

require (
	golang.org/x/text v0.23.0 // indirect
	golang.org/x/tools v0.30.0 // indirect
)
