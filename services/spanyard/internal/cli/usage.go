package cli

import (
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"spanyard.example/services/kit/fault"
)

// named are the commands for which a person answers by name: the name of an
// account of the machine will not do.
var named = []string{
	"batch release", "batch quarantine", "batch lift", "floor approve", "morning confirm", "morning replan", "run depart", "run cancel", "run repair", "piece free", "piece exchange",
}

// inPlainWords has everything that is wrong with a command line said in words
// of ours, with what was expected.
func (p *program) inPlainWords(c *cobra.Command) {
	c.SetFlagErrorFunc(flagError)
	c.SuggestionsMinimumDistance = 2
	check := c.Args
	c.Args = func(cmd *cobra.Command, args []string) error {
		if check != nil && check(cmd, args) != nil {
			return argsError(cmd, args)
		}
		if err := missingFlags(cmd); err != nil {
			return err
		}
		if cmd.ValidateFlagGroups() != nil {
			return groupsError(cmd)
		}
		return p.needsName(cmd)
	}
	for _, child := range c.Commands() {
		p.inPlainWords(child)
	}
}

// path of a command without the name of the program.
func path(c *cobra.Command) string {
	_, rest, _ := strings.Cut(c.CommandPath(), " ")
	return rest
}

// needsName refuses a change that a person answers for when nobody was named.
func (p *program) needsName(c *cobra.Command) error {
	if !slices.Contains(named, path(c)) || c.Flags().Changed("as") || strings.TrimSpace(os.Getenv("SPANYARD_AS")) != "" {
		return nil
	}
	return fault.New(fault.Invalid, "NAME_NEEDED",
		"Say who you are: '%s' is recorded with the name of the person who answers for it. Give --as \"Your Name\", or set SPANYARD_AS.", c.CommandPath())
}

// argsError says which argument is missing or one too many.
func argsError(c *cobra.Command, args []string) error {
	wanted := strings.Fields(c.Use)[1:]
	switch {
	case len(args) < len(wanted):
		return fault.New(fault.Invalid, "ARGUMENT_MISSING", "%s is missing. The command is '%s'.", wanted[len(args)], usage(c))
	case c.HasSubCommands():
		f := fault.New(fault.Invalid, "COMMAND_UNKNOWN", "There is no command %q of '%s'.", args[0], c.CommandPath())
		if like := c.SuggestionsFor(args[0]); len(like) > 0 {
			f.Sentence += fmt.Sprintf(" Did you mean %s?", strings.Join(like, " or "))
		}
		return f
	default:
		return fault.New(fault.Invalid, "ARGUMENT_UNEXPECTED", "%q is one word too many. The command is '%s'. A name of several words goes in quotes.",
			args[len(wanted)], usage(c))
	}
}

// usage is a command with its arguments.
func usage(c *cobra.Command) string {
	return strings.TrimSpace(strings.TrimSuffix(c.CommandPath(), c.Name()) + c.Use)
}

// missingFlags names the flags that a command cannot do without.
func missingFlags(c *cobra.Command) error {
	var missing []string
	c.Flags().VisitAll(func(f *pflag.Flag) {
		if len(f.Annotations[cobra.BashCompOneRequiredFlag]) > 0 && !f.Changed {
			missing = append(missing, "--"+f.Name)
		}
	})
	switch len(missing) {
	case 0:
		return nil
	case 1:
		return fault.New(fault.Invalid, "FLAG_MISSING", "%s is missing.", missing[0])
	default:
		last := len(missing) - 1
		return fault.New(fault.Invalid, "FLAG_MISSING", "%s and %s are missing.", strings.Join(missing[:last], ", "), missing[last])
	}
}

// groupsError says which flags need one another, or do not go together. The
// names of the annotations are those that the command library keeps them under.
func groupsError(c *cobra.Command) error {
	given := map[string]bool{}
	c.Flags().Visit(func(f *pflag.Flag) { given[f.Name] = true })
	var out error
	c.Flags().VisitAll(func(f *pflag.Flag) {
		for kind, groups := range f.Annotations {
			for _, group := range groups {
				names := strings.Fields(group)
				if sentence := groupSentence(kind, names, given); sentence != "" {
					out = fault.New(fault.Invalid, "FLAGS_DO_NOT_FIT", "%s", sentence)
				}
			}
		}
	})
	return out
}

func groupSentence(kind string, names []string, given map[string]bool) string {
	list := "--" + strings.Join(names, ", --")
	set := 0
	for _, name := range names {
		if given[name] {
			set++
		}
	}
	switch {
	case kind == "cobra_annotation_one_required" && set == 0:
		return "One of these is needed: " + list + "."
	case kind == "cobra_annotation_mutually_exclusive" && set > 1:
		return "Only one of these goes at a time: " + list + "."
	case kind == "cobra_annotation_required_if_others_set" && set > 0 && set < len(names):
		return "These go together, all or none: " + list + "."
	default:
		return ""
	}
}

// flagError says what is wrong with a flag.
func flagError(c *cobra.Command, err error) error {
	var (
		unknown *pflag.NotExistError
		bare    *pflag.ValueRequiredError
		value   *pflag.InvalidValueError
		syntax  *pflag.InvalidSyntaxError
	)
	switch {
	case errors.As(err, &unknown):
		name := "--" + unknown.GetSpecifiedName()
		if unknown.GetSpecifiedShortnames() != "" {
			name = "-" + unknown.GetSpecifiedName()
		}
		return fault.New(fault.Invalid, "FLAG_UNKNOWN", "'%s' has no flag %s.", c.CommandPath(), name)
	case errors.As(err, &bare):
		return fault.New(fault.Invalid, "FLAG_WITHOUT_VALUE", "--%s needs %s after it.", bare.GetFlag().Name, kindOf(bare.GetFlag()))
	case errors.As(err, &value):
		return fault.New(fault.Invalid, "FLAG_INVALID", "--%s: %q is not %s.", value.GetFlag().Name, value.GetValue(), kindOf(value.GetFlag()))
	case errors.As(err, &syntax):
		return fault.New(fault.Invalid, "FLAG_UNREADABLE", "%q cannot be read as a flag.", syntax.GetSpecifiedFlag())
	default:
		return err
	}
}

// kindOf says what a flag takes.
func kindOf(f *pflag.Flag) string {
	switch kind := f.Value.Type(); {
	case strings.HasPrefix(kind, "float") && strings.HasSuffix(kind, "Slice"):
		return "a list of numbers with commas between, and points before their decimals"
	case kind == "int32":
		return "a whole number up to 2147483647"
	case strings.HasPrefix(kind, "int"):
		return "a whole number"
	case strings.HasPrefix(kind, "uint"):
		return "a whole number from 0"
	case strings.HasPrefix(kind, "float"):
		return "a number, with a point before its decimals"
	case kind == "bool":
		return "true or false"
	case kind == "duration":
		return "a length of time like 30s"
	default:
		return "a value"
	}
}
