package ledger

import "context"

// Run does the ledger's upkeep until ctx ends, then closes the ledger.
func (l *Ledger[S, E]) Run(ctx context.Context) error {
	defer l.Close()
	if err := l.startTail(ctx); err != nil {
		return err
	}
	<-ctx.Done()
	return nil
}
