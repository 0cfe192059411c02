// Command dieglow is a lab notebook and parts catalogue for thermal imaging of
// chips and boards.
package main

import (
	"os"

	"dieglow/cmd/dieglow/internal/cli"
)

func main() {
	os.Exit(cli.Main(cli.System(), os.Args[1:]))
}
