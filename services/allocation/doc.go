// Package allocation decides which dogs stay where, when, in which run and with which trainer, so that the plan is worth
// the most, and proves how good the plan is. It is pure: a Problem goes in, a Solution comes out, and Check judges it.
package allocation
