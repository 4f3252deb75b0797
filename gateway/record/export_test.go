package record

// Page and Words are the page and its functions, for a comparison with another program that fills it.
var Page = page

// Words are the functions of the page of r.
func (r *Record) Words() map[string]any { return r.words() }
