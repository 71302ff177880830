// Package sheet draws gauges and templates in true size.
package sheet
