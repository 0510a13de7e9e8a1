package main

import (
	"context"
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/desk"
	"fettle/cmd/internal/page"
	"fettle/store/seal"
)

func (a *app) sealCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "seal [MARK]",
		Short: "Sign a statement of what the journal holds now",
		Long: "Sign a statement of the journal's head: how many entries, and one hash over all of them. It\n" +
			"is a few lines, to be printed on the release slip or sent to the club. audit --against SEAL\n" +
			"proves later that the journal still holds exactly what was sealed.\n\n" + page.SealLimits + "\n\n" +
			"The key is made on first use (FETTLE_KEY, else seal.key in the XDG data folder); its public\n" +
			"half is printed with each seal.",
		Args:              arguments(0, 1),
		ValidArgsFunction: a.completeMarks,
	}
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		d, mark, _, err := a.deskOf(cmd.Context(), args)
		if err != nil {
			return err
		}
		made, _, err := d.Seal(cmd.Context(), mark)
		if err != nil {
			return err
		}
		return a.show(a.sealPage(mark, made))
	}
	cmd.AddCommand(a.sealCheckCommand())
	return cmd
}

func (a *app) sealPage(mark string, s desk.Seal) page.Seal {
	out := page.Seal{Mark: mark, Note: s.Note, Public: s.Public, Size: s.Head.Size}
	if s.NewKey {
		out.NewKey = s.KeyPath
	}
	return out
}

func (a *app) sealCheckCommand() *cobra.Command {
	var key string
	cmd := &cobra.Command{
		Use:   "check FILE",
		Short: "Check a seal or a proof with nothing but the public key",
		Long: "Check a file that somebody handed over: a seal, the proof of one entry (audit --entry) or of\n" +
			"two seals. Nothing but the file and the public key of who sealed it is needed.",
		Args: arguments(1, 1),
	}
	cmd.Flags().StringVar(&key, "key", "", "the public `KEY` of who sealed it; else your own")
	cmd.RunE = func(_ *cobra.Command, args []string) error {
		data, err := os.ReadFile(args[0])
		if err != nil {
			return fmt.Errorf("reading the seal: %w", err)
		}
		d, err := a.desk()
		if err != nil {
			return err
		}
		public, err := d.Public(key)
		if err != nil {
			return err
		}
		checked, err := checkSeal(data, public)
		if err != nil {
			return err
		}
		return a.show(checked)
	}
	return cmd
}

// checkSeal tells the kinds of file apart by how they begin.
func checkSeal(data []byte, public string) (page.SealChecked, error) {
	switch text := string(data); {
	case strings.HasPrefix(text, "c2sp.org/tlog-proof"):
		record, index, st, err := seal.CheckInclusion(data, public)
		return page.SealChecked{Origin: st.Origin, Size: st.Head.Size, Signer: st.Signer, Entry: &index, Record: string(record)}, err
	case strings.HasPrefix(text, "fettle/seal-consistency"):
		older, newer, err := seal.CheckConsistency(data, public)
		return page.SealChecked{Origin: newer.Origin, Size: newer.Head.Size, Signer: newer.Signer, Older: older.Head.Size}, err
	}
	st, err := seal.Open(data, public)
	return page.SealChecked{Origin: st.Origin, Size: st.Head.Size, Signer: st.Signer}, err
}

// sealed seals a release that was just given. A release stands without it.
func (a *app) sealed(ctx context.Context, d *desk.Desk, mark string) *page.Seal {
	made, _, err := d.Seal(ctx, mark)
	if err != nil {
		a.warn("the release stands, and was not sealed: %v", err)
		return nil
	}
	out := a.sealPage(mark, made)
	return &out
}
