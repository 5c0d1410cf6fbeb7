package house

import (
	"context"
	"fmt"
	"path/filepath"
	"runtime"

	"github.com/compose-spec/compose-go/v2/cli"
	"github.com/compose-spec/compose-go/v2/types"
)

// Root returns the folder of the repository.
func Root() string {
	_, file, _, _ := runtime.Caller(0)
	return filepath.Join(filepath.Dir(file), "..", "..", "..")
}

// Compose reads deploy/compose.yaml as an engine would. It fails on anything
// that is not in the compose specification. Variables come from the
// environment, so that other images can be named. Services of a profile are read
// when the profile is named.
func Compose(ctx context.Context, profiles ...string) (*types.Project, error) {
	file := filepath.Join(Root(), "deploy", "compose.yaml")
	options, err := cli.NewProjectOptions([]string{file}, cli.WithOsEnv, cli.WithResolvedPaths(true), cli.WithProfiles(profiles))
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", file, err)
	}
	project, err := options.LoadProject(ctx)
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", file, err)
	}
	return project, nil
}
