package syntax

import "millwarden/internal/slab"

// room is where the parts of a tree lie.
type room struct {
	blocks    slab.Of[Block]
	formulas  slab.Of[Formula]
	junctions slab.Of[Junction]
	deadbands slab.Of[Deadband]
	exprs     slab.Of[Expr]
	tokens    slab.Of[Token]
	lists     slab.Of[[]Token]
	pointed   slab.Of[*Line]
	pointers  slab.Of[*Amount]
	lines     slab.Of[Line]
	amounts   slab.Of[Amount]
	texts     slab.Of[Texts]
	ones      slab.Of[One]
	literals  slab.Of[Literal]
	names     slab.Of[NameOf]
	calls     slab.Of[Call]
	args      slab.Of[Argument]
	binaries  slab.Of[Binary]
}
