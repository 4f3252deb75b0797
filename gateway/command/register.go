package command

import (
	"bufio"
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"strings"

	"millwarden/internal/reading"
	"millwarden/rules/check"
	"millwarden/rules/engine"
)

// register prints the alarm register: one record an alarm, with all its attributes, as ISA-18.2 asks of the documents of rationalisation.
// The rules file is the record; this is its printed form.
func register(_ context.Context, std IO, args []string) error {
	f := flags("register", std)
	asCSV := f.Bool("csv", false, "as a table for a spreadsheet")
	words, err := parse(f, args)
	if err != nil {
		return err
	}
	if len(words) != 1 {
		return fmt.Errorf("%w: it takes one rules file", errUse)
	}
	plan, err := goodRules(std, words[0])
	if err != nil {
		return err
	}
	records := recordsOf(plan)
	if *asCSV {
		return writeRecords(std.Out, records)
	}
	out := bufio.NewWriter(std.Out)
	printRegister(out, plan, records)
	return out.Flush()
}

// record is one alarm of the register, at all places where it is the same.
type record struct {
	alarm  *engine.Alarm
	places []string
	limits []check.Limit
}

// recordsOf joins what is the same alarm at many places, in the order of the plan.
func recordsOf(plan *check.Plan) []*record {
	var list []*record
	same := map[string]*record{}
	for i := range plan.Engine.Alarms {
		a := &plan.Engine.Alarms[i]
		limits := limitsOf(plan, a)
		key := fmt.Sprint(a.Name, a.File, a.Line, a.When.Text, a.Priority, a.OnDelay, a.OffDelay, a.Call, limits)
		r := same[key]
		if r == nil {
			r = &record{alarm: a, limits: limits}
			same[key] = r
			list = append(list, r)
		}
		r.places = append(r.places, a.Place)
	}
	return list
}

var registerColumns = []string{"alarm", "kind", "places", "priority", "class", "watches", "limits", "while", "on-delay", "off-delay", "latching", "cause", "consequence",
	"action", "caution", "respond-within", "verify-with", "call", "depends-on", "re-annunciate", "shelvable", "source", "written"}

// fields are the columns of a record, in the order of registerColumns.
func (r *record) fields() []string {
	a := r.alarm
	priority, class, respond, shelf, latching := a.Priority.String(), a.Class.String(), duration(a.RespondWithin), orNo(a.Shelvable), "no"
	if a.Latching {
		latching = "yes"
	}
	action := a.Action
	if a.Kind != engine.KindAlarm {
		priority, class, respond, shelf, action = "", "", "", "", a.Say
	}
	var limits, verify []string
	for _, l := range r.limits {
		limits = append(limits, limitWords(l))
	}
	for _, v := range a.VerifyWith {
		if v.Formula != nil {
			verify = append(verify, v.Formula.Text)
		} else {
			verify = append(verify, v.Text)
		}
	}
	while := ""
	if a.While != nil {
		while = a.While.Text
	}
	again := ""
	if a.ReAnnunciate > 0 {
		again = duration(a.ReAnnunciate)
	}
	return []string{a.Name, kindWords[a.Kind], strings.Join(r.places, ", "), priority, class, a.When.Text, strings.Join(limits, "; "), while, duration(a.OnDelay), duration(a.OffDelay),
		latching, a.Cause, a.Consequence, action, a.Caution, respond, strings.Join(verify, ", "), strings.Join(a.Call, ", "), strings.Join(a.DependsOn, ", "), again, shelf,
		a.Source, fmt.Sprintf("%s:%d", a.File, a.Line)}
}

func writeRecords(to io.Writer, records []*record) error {
	w := csv.NewWriter(to)
	w.UseCRLF = true
	if err := w.Write(registerColumns); err != nil {
		return err
	}
	for _, r := range records {
		fields := r.fields()
		for i := range fields {
			fields[i] = reading.Guard(fields[i])
		}
		if err := w.Write(fields); err != nil {
			return err
		}
	}
	w.Flush()
	return w.Error()
}

func printRegister(out io.Writer, plan *check.Plan, records []*record) {
	fmt.Fprintf(out, "Alarm register of %s, rules %.12s\n", plan.Site.Title, plan.Hash)
	count := map[string]int{}
	alarms := 0
	for i := range plan.Engine.Alarms {
		if a := &plan.Engine.Alarms[i]; a.Kind == engine.KindAlarm {
			count[a.Priority.String()]++
			alarms++
		}
	}
	fmt.Fprintf(out, "%d alarms: %d high, %d medium, %d low\n", alarms, count["high"], count["medium"], count["low"])
	for _, r := range records {
		fields := r.fields()
		fmt.Fprintf(out, "\n%s %s at %s\n", fields[1], fields[0], short(r.places))
		for i := 3; i < len(fields); i++ {
			if registerColumns[i] != "limits" && fields[i] != "" && fields[i] != "no" {
				name := registerColumns[i]
				if name == "action" && r.alarm.Kind != engine.KindAlarm {
					name = "say"
				}
				fmt.Fprintf(out, "    %-15s %s\n", name, fields[i])
			}
			if registerColumns[i] == "limits" {
				for _, l := range r.limits {
					fmt.Fprintf(out, "    %-15s %s\n", "limit", limitWords(l))
				}
			}
		}
	}
	for _, l := range plan.LeftOut {
		at := "everywhere"
		if len(l.At) > 0 {
			at = strings.Join(l.At, ", ")
		}
		fmt.Fprintf(out, "\nleft out: %s at %s, class %s: %s\n", l.Alarm, at, l.Class, l.Because)
	}
}
