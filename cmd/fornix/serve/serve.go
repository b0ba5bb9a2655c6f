// Package serve is the local app: cases in folders on this machine (Store), and the pages that show
// and change them in a browser. It inspects nothing itself: the engine that every command of fornix
// goes through is handed to it.
package serve
