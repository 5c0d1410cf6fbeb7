// Package laying is the engine of the drawing office: it lays the beams and
// blocks of one rectangular room. Everything in it is a pure function of the
// room, its catalogue entries and the yard's rules; lengths are whole
// millimetres, masses whole grams.
//
// The rule is common practice; it has no published source.
//
// # Along the beams
//
// A beam is as long as the clear span L and the bearing at both ends, rounded
// UP to the catalogue's length step. The rest lies on the supports, half at
// each end, so a bearing grows by at most half a step. The schedule gives no
// thickness of the supports: whoever draws the room must have seen that the
// bearing and half a step fit on them.
//
//	  bearing        clear span L        bearing
//	 |<----->|<------------------------->|<----->|
//	 ########                             ########   supports
//	================================================  beam
//
// # Across the beams
//
// W is the size of the room across the beams, from wall face to wall face. A
// bay takes one block's width; p is the pitch of the block kind, w the width
// of the beam, k the number of beams side by side in a row.
//
//	first                                             far
//	wall                    k = 2                     wall
//	|      p      | w |      p      | w |        C        |
//	|<----------->|<->|<----------->|<->|<--------------->|
//	|   blocks    T---T   blocks    T---T       ...       |
//	|<------------------------ W ------------------------>|
//
// How many rows, and where:
//
//   - The centre line of the first beam lies one pitch from the first wall's
//     face: the first bay takes whole blocks that end on that wall.
//   - Beams of one row touch, so from row to row the centre lines are
//     p + (k-1) w apart and every bay keeps its block.
//   - There are as many rows as leave a closing bay C (from the last centre
//     line to the far wall's face) of more than nothing and no more than p.
//   - C = p closes with whole blocks. A smaller C is closed with filler: its
//     blocks are cut in width.
//   - Where the last row would stand in the far wall (C < w/2, or C would be
//     negative because a double or triple row does not fit whole), that row
//     moves back until it touches the wall. The bay before it is then the one
//     that is closed with filler.
//   - A room no wider than one pitch still gets a row, in its middle, and
//     filler on both sides: blocks alone are never trusted to span a room
//     whose supports for them nobody has drawn.
//
// # Blocks
//
// A bay takes as many blocks as cover the clear span. The last one is cut in
// length when they do not end flush. A block is counted as cut once, however
// often it is cut; it is ordered, moved and weighed whole. A gap of less than
// a millimetre is a joint and takes no blocks.
//
// # Marks and laying order
//
// A mark is floor-room-number. Numbers count from 1 in each room, from the
// first wall across, which is the order in which the crew lays them. Floor
// and room hold no dash, so a mark can be taken apart again.
package laying
