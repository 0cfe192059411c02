package cli

import "github.com/spf13/cobra"

func newDemo(app *App) *cobra.Command { return &cobra.Command{Use: "demo"} }
