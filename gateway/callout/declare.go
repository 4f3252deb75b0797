package callout

// NotYet declares the channels that a rules file may name and that have no code here: NotHere stands for them. The form is that of the vocabulary of
// parts; channels with code declare themselves.
const NotYet = `channel siren
    phrase output GPIO line NUMBER 0 .. 255 [on-when (high|low)]
    phrase button GPIO line NUMBER 0 .. 255
    phrase longest DURATION 5 s .. 1 h default 10 min
    needs output
channel push
    phrase contact MAIL
    needs contact
`
