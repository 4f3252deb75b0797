package callout

// NotYet declares the channels that a rules file may name and that have no code here: NotHere stands for them. The form is that of the vocabulary of
// parts; channels with code declare themselves.
const NotYet = `channel push
    phrase contact MAIL
    needs contact
`
