package readmodel

import "fmt"

// keys names the keys of one generation of a yard's view.
type keys struct{ prefix string }

// pointerKey holds the generation that readers follow. Its number is that of
// the shape of the view: replicas of an older version keep a view of their own
// while an upgrade rolls, and neither disturbs the other.
func pointerKey(yard string) string { return "spanyard:stock:{" + yard + "}:generation2" }

// buildingKey holds the generations that are being built or deleted, and since
// when.
func buildingKey(yard string) string { return "spanyard:stock:{" + yard + "}:building2" }

func generationKeys(yard, generation string) keys {
	return keys{fmt.Sprintf("spanyard:stock:{%s}:g%s:", yard, generation)}
}

func (k keys) cursor() string   { return k.prefix + "cursor" }
func (k keys) origin() string   { return k.prefix + "origin" }
func (k keys) rules() string    { return k.prefix + "rules" }
func (k keys) batches() string  { return k.prefix + "batches" }
func (k keys) contents() string { return k.prefix + "contents" }
func (k keys) pieces() string   { return k.prefix + "pieces" }
func (k keys) stacks() string   { return k.prefix + "stacks" }
func (k keys) free() string     { return k.prefix + "free" }
func (k keys) blocks() string   { return k.prefix + "blocks" }
func (k keys) tally() string    { return k.prefix + "tally" }
func (k keys) marks() string    { return k.prefix + "marks" }
func (k keys) told() string     { return k.prefix + "told" }

// pieceHistory and batchHistory are named below the prefix.
func pieceHistory(id string) string { return "h:" + id }
func batchHistory(id string) string { return "hb:" + id }

// tables are the keys of a generation that are not histories.
func (k keys) tables() []string {
	return []string{k.cursor(), k.origin(), k.rules(), k.batches(), k.contents(), k.pieces(), k.stacks(), k.free(), k.blocks(), k.tally(), k.marks(), k.told()}
}
