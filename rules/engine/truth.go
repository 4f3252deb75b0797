package engine

// truth is three-valued: Kleene's strong logic is min and max of these numbers.
type truth int8

const (
	fails   truth = -1
	unclear truth = 0
	holds   truth = 1
)

func (t truth) String() string { return [...]string{"false", "unknown", "true"}[t+1] }

func truthOf(yes bool) truth {
	if yes {
		return holds
	}
	return fails
}

// and is false as soon as one part is, whatever is unknown.
func and(a, b truth) truth { return min(a, b) }

// or is true as soon as one part is.
func or(a, b truth) truth { return max(a, b) }
