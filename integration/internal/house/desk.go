package house

import (
	"context"
	"crypto/ed25519"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"time"

	"spanyard.example/integration/internal/await"
)

// DeskPort is where the desk answers browsers, inside its container.
const DeskPort = 7404

// keysTarget is where the compose file has the desk's keys.
const keysTarget = "/etc/spanyard/keys"

// OpenDesk starts the desk beside the services, with a key of its own in a
// folder, and waits until it shows its sign-in.
func (h *House) OpenDesk(ctx context.Context, folder string) error {
	if err := writeKey(filepath.Join(folder, "desk.pem")); err != nil {
		return err
	}
	project, err := Compose(ctx, "desk")
	if err != nil {
		return err
	}
	entry, err := project.GetService("desk")
	if err != nil {
		return fmt.Errorf("deploy/compose.yaml: %w", err)
	}
	if _, err := h.docker.ImageInspect(ctx, entry.Image); err != nil {
		return fmt.Errorf("there is no image %s: build the images with scripts/images: %w", entry.Image, err)
	}
	for i := range entry.Volumes {
		if entry.Volumes[i].Target == keysTarget {
			entry.Volumes[i].Source = folder
		}
	}
	c, err := h.newContainer("desk", entry, nil, DeskPort)
	if err != nil {
		return err
	}
	h.containers["desk"] = c
	if err := c.create(ctx); err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, time.Minute)
	defer cancel()
	err = await.Until(ctx, "the desk to show its sign-in", func(ctx context.Context) error {
		if err := c.alive(ctx); err != nil {
			return err
		}
		req, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+c.Address(DeskPort)+"/sign-in", nil)
		if err != nil {
			return err
		}
		answer, err := http.DefaultClient.Do(req)
		if err != nil {
			return err
		}
		defer answer.Body.Close()
		if answer.StatusCode != http.StatusOK {
			return errors.New(answer.Status)
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("%w\n%s", err, c.Log(context.WithoutCancel(ctx)))
	}
	return nil
}

// writeKey makes a private key as deploy/README.md does with openssl. The user of
// the container reads it.
func writeKey(file string) error {
	_, key, err := ed25519.GenerateKey(nil)
	if err != nil {
		return err
	}
	der, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return err
	}
	return os.WriteFile(file, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der}), 0o644)
}
