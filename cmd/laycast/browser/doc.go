// Package browser holds nothing but tests that drive the built program from
// outside with a real browser (Chromium): what an owner, a crew and a customer do
// on the pages, whether the pages are accessible, and pictures of them. They use
// no package of ours, only the program.
package browser
