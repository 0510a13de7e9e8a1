package cli

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/keep"
	"fettle/cmd/internal/page"
	"fettle/store/seal"
	"fettle/store/wholefile"
	"fettle/workflow"
)

func (a *app) sealCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "seal [MARK]",
		Short: "Sign a statement of what the journal holds",
		Long: "Sign a statement of a few lines: how many entries the journal has, and one hash over all of\n" +
			"them. audit --against SEAL shows later whether the journal still holds exactly what was sealed;\n" +
			"SEAL is a file with those lines, and other words around them do no harm.\n\n" +
			"The key is made on first use (FETTLE_KEY, else seal.key in the XDG data folder). Its public\n" +
			"half is printed with each seal. For what a seal proves see fettle help seals.",
		Args:              arguments(0, 1),
		ValidArgsFunction: a.completeMarks,
	}
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		s, err := a.airframeAlone(cmd.Context(), args)
		if err != nil {
			return err
		}
		k, err := a.keeper()
		if err != nil {
			return err
		}
		made, _, err := k.Seal(cmd.Context(), s)
		if err != nil {
			return err
		}
		return a.show(a.sealPage(s.Airframe.Mark, made))
	}
	cmd.AddCommand(a.sealCheckCommand())
	return cmd
}

//go:noinline
func (a *app) sealPage(mark string, s keep.Seal) page.Seal {
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
		Short: "Check a seal or a proof with the public key alone",
		Long: "Check a file that somebody handed over: a seal, the proof of one entry (audit --entry) or of\n" +
			"two seals (audit --newer). Only the file and the signer's public key are needed.",
		Example:           "  fettle seal CW-01 > seal.txt\n  fettle seal check seal.txt",
		Args:              arguments(1, 1),
		ValidArgsFunction: completeFiles,
	}
	stringFlag(cmd.Flags(), &key, "key", "", "the signer's public `KEY`; else your own")
	cmd.RunE = func(_ *cobra.Command, args []string) error {
		data, err := readSeal(args[0])
		if err != nil {
			return err
		}
		k, err := a.keeper()
		if err != nil {
			return err
		}
		public, err := k.Public(key)
		if err != nil {
			return err
		}
		checked, err := checkSeal(data, public)
		if err != nil {
			return strange(err, key)
		}
		return a.show(checked)
	}
	return cmd
}

// readSeal reads a seal or a proof, with or without other text around it.
func readSeal(path string) ([]byte, error) {
	data, err := wholefile.Read(path, maxSeal)
	if errors.Is(err, wholefile.ErrTooLarge) {
		err = fmt.Errorf("%w; name the file with the lines that seal printed", err)
	}
	if err != nil {
		return nil, fmt.Errorf("reading the seal: %w", err)
	}
	return seal.Lift(data)
}

// maxSeal is more bytes than the longest proof has.
const maxSeal = 4 << 20

// strange adds to the error of an unknown signer that one's own key was used,
// because no key was named.
func strange(err error, key string) error {
	if key == "" && errors.Is(err, seal.ErrUnknownSigner) {
		return fmt.Errorf("%w; your own key was used; give the signer's public key with --key KEY", err)
	}
	return err
}

// checkSeal checks a seal or a proof; the first line says which it is.
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

// sealed seals a release that was just given. The release is valid without it.
func (a *app) sealed(ctx context.Context, k *keep.Keeper, s *workflow.State) *page.Seal {
	made, _, err := k.Seal(ctx, s)
	if err != nil {
		a.warn("the release is valid, but it was not sealed: %v", err)
		return nil
	}
	out := a.sealPage(s.Airframe.Mark, made)
	return &out
}
