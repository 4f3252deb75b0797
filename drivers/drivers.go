// Package drivers is the contract between the parts of the mill and those who read them: Driver, Probe, Sample, Fault. No chip is in it.
package drivers
