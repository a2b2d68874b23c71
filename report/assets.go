package report

// StyleSheet is the sheet's own style, for the pages around it.
func StyleSheet() string { return styleSheet }

// Policy is the content security policy that a sheet carries: no connection,
// and no script and no style but its own.
func Policy() string { return policy() }
