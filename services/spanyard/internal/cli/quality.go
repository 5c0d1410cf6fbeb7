package cli

import (
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/spanyard/internal/show"
)

func (p *program) batchDueCommand() *cobra.Command {
	var day string
	c := &cobra.Command{
		Use:   "due",
		Short: "List the specimens that are due for testing, and overdue",
		Long: `Lists the specimens that the sampling plan asks for and that are not tested, the
oldest first. The plan is the list "sampling" in the section "stock" of the file
for 'spanyard yard set'.`,
		Example: "  spanyard batch due\n  spanyard batch due --day 2027-03-19",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			c, err := p.stock()
			if err != nil {
				return err
			}
			answer, err := c.ListDueSamples(p.as(cmd.Context()), &stockv1.ListDueSamplesRequest{Yard: p.yard, Day: day})
			if err != nil {
				return err
			}
			return p.answer(answer, func(w io.Writer) { show.DueSamples(w, answer) })
		},
	}
	c.Flags().StringVar(&day, "day", "", "due by this day, YYYY-MM-DD; today, if not given")
	return c
}

func (p *program) batchForecastCommand() *cobra.Command {
	var cement, day string
	var cure []string
	c := &cobra.Command{
		Use:   "forecast BATCH",
		Short: "Forecast the strength of beams from the maturity of their cure",
		Long: `Forecasts the mean cylinder strength of a batch (EN 1992-1-1 3.1.2(6) and B.10).
The cure is given as CELSIUSxDAYS, from casting on; what is not told is taken as
20 degrees. A forecast releases nothing.`,
		Example: "  spanyard batch forecast B0412 --cement R --cure 45x0.7,12x3",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			req := &stockv1.ForecastStrengthRequest{
				Yard: p.yard, BatchId: args[0], Day: day,
				Cement: stockv1.CementClass(stockv1.CementClass_value["CEMENT_CLASS_"+strings.ToUpper(cement)]),
			}
			if req.GetCement() == 0 && cement != "" {
				return fault.New(fault.Invalid, "CEMENT_UNKNOWN", "The class of the cement is not right.").At("--cement", cement, "is no class", "R, N, S")
			}
			var err error
			if req.Cure, err = spellsOf(cure); err != nil {
				return err
			}
			c, err := p.stock()
			if err != nil {
				return err
			}
			answer, err := c.ForecastStrength(p.as(cmd.Context()), req)
			if err != nil {
				return err
			}
			return p.answer(answer, func(w io.Writer) { show.Forecast(w, answer) })
		},
	}
	f := c.Flags()
	f.StringVar(&cement, "cement", "", "strength class of the cement: R, N or S; as recorded, if not given")
	f.StringSliceVar(&cure, "cure", nil, "temperatures as CELSIUSxDAYS, with commas between; as recorded, if not given")
	f.StringVar(&day, "day", "", "day of the forecast, YYYY-MM-DD; today, if not given")
	return c
}

func (p *program) batchCureCommand() *cobra.Command {
	var cement string
	var cure []string
	c := &cobra.Command{
		Use:     "cure BATCH",
		Short:   "Record the cement of a batch and how warm it cured, for forecasts",
		Example: "  spanyard batch cure B0412 --cement R --cure 45x0.7,12x3",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			class := stockv1.CementClass(stockv1.CementClass_value["CEMENT_CLASS_"+strings.ToUpper(cement)])
			if class == 0 {
				return fault.New(fault.Invalid, "CEMENT_UNKNOWN", "The class of the cement is not right.").At("--cement", cement, "is no class", "R, N, S")
			}
			spells, err := spellsOf(cure)
			if err != nil {
				return err
			}
			c, err := p.stock()
			if err != nil {
				return err
			}
			answer, err := c.RecordCure(p.as(cmd.Context()), &stockv1.RecordCureRequest{Yard: p.yard, RequestId: p.request(), BatchId: args[0], Cement: class, Cure: spells})
			if err != nil {
				return err
			}
			return p.answer(answer, said("Recorded for batch %s. Forecasts take it from there: 'spanyard batch forecast %s'.", args[0], args[0]))
		},
	}
	f := c.Flags()
	f.StringVar(&cement, "cement", "", "strength class of the cement: R, N or S (required)")
	f.StringSliceVar(&cure, "cure", nil, "temperatures from casting on as CELSIUSxDAYS, with commas between")
	required(c, "cement")
	return c
}

func spellsOf(list []string) ([]*stockv1.CureSpell, error) {
	var out []*stockv1.CureSpell
	for _, text := range list {
		spell, err := spellOf(text)
		if err != nil {
			return nil, err
		}
		out = append(out, spell)
	}
	return out, nil
}

func spellOf(text string) (*stockv1.CureSpell, error) {
	celsius, days, _ := strings.Cut(text, "x")
	degrees, err := strconv.ParseFloat(celsius, 64)
	long, err2 := strconv.ParseFloat(days, 64)
	if err != nil || err2 != nil {
		return nil, fault.New(fault.Invalid, "CURE_INVALID", "The cure is not right.").At("--cure", text, "cannot be read", "CELSIUSxDAYS, for instance 45x0.7")
	}
	return &stockv1.CureSpell{Celsius: degrees, Days: long}, nil
}
