// Package engine decides: Observe(reading) and Tick(now) give transitions of alarms, each with its because. It is pure: no clock of its own,
// no files, no network, so that rehearse replays a night in milliseconds and the same input always gives the same transitions.
//
// How it works:
//   - Time is a parameter. Whatever is due (a delay, a point that grows old, a shelf's end, each whole second for rules in which time runs) happens
//     at its own instant and in a fixed order before the next input is looked at, however late or often Tick comes. So extra ticks change nothing.
//   - A reading becomes the standing value of its point (point.go), goes into the windows on it (window.go; coarse.go for long ones), moves
//     the points derived from it (derived.go), and then the alarms that look at any of these are judged (alarm.go), and no others.
//   - Conditions are closures (compile.go, numbers.go): once for letting an alarm come, once for letting it go.
//   - The nine states are a table (states.go); next says what follows, step (step.go) does the numbers, times and words.
//   - The whole state can be saved as plain data and taken over by another plan (restore.go); a reload is the same path as a restart.
//
// Choices where the specification of the language leaves room:
//   - A frozen or an overdue point is not also bad: each of the five has its own alarm, and one fault shall not call twice.
//   - change needs both ends known, whatever lies between.
//   - An extreme or a count over stations may not let an alarm clear while one of them is unknown; a mean or median follows the rule of half.
//   - Prompts and events stand as "acknowledged", since they never call, and take no occurrence numbers.
//   - After a reboot a computed point is unknown until its model speaks; a measured one stands until it is overdue by the wall clock, and is unknown
//     if nobody knows how long the board was off.
//
// The package is larger than others here because all of this shares one state and must be replayed as one.
//
// Concurrency: an Engine belongs to one goroutine.
package engine
