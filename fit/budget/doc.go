// Package budget says what errors of bending do to a bar.
package budget
