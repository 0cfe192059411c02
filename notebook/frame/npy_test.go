package frame

import "fmt"

// npyText returns the header of an .npy file, version 1.0.
func npyText(descr, fortran string, shape ...int) string {
	tuple := ""
	for _, n := range shape {
		tuple += fmt.Sprintf("%d, ", n)
	}
	dict := fmt.Sprintf("{'descr': '%s', 'fortran_order': %s, 'shape': (%s), }", descr, fortran, tuple)
	dict = fmt.Sprintf("%-117s\n", dict)
	return npyMagic + "\x01\x00" + string(rune(len(dict))) + "\x00" + dict
}
