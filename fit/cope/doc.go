// Package cope works out where bars meet.
package cope
