// Package demo is an invented bench: its commands as a person would type them,
// and frames made from closed forms. Nothing in it happened; every name, price
// and temperature is made up.
package demo

// Step is one command of the scenario.
type Step struct {
	Say     string   // what it is about, "" when it goes with the step before
	Args    []string // as typed after "dieglow"
	Show    bool     // print the command with its result
	Refused bool     // it says no, with an exit status that is not 0
}

// Operator is who records in the scenario.
const Operator = "I. Vance (invented)"

// Lab is whose notebook it is.
const Lab = "Demonstration bench (invented data)"

// Steps returns the scenario; frames is the folder that holds what Frames made,
// dir the notebook's folder.
func Steps(dir, frames string) []Step {
	file := func(name string) string { return frames + "/" + name }
	var s []Step
	do := func(say string, args ...string) { s = append(s, Step{Say: say, Args: args}) }
	ask := func(say string, args ...string) { s = append(s, Step{Say: say, Args: args, Show: true}) }
	no := func(say string, args ...string) { s = append(s, Step{Say: say, Args: args, Show: true, Refused: true}) }

	do("the catalogue: lenses, cameras, things of known size, a meter",
		"lens", "add", "ge25", "--material", "germanium", "--r1", "75.0(2)mm", "--r2", "plane", "--thickness", "2.0(1)mm", "--diameter", "12.7mm", "--clear-aperture", "11.4mm",
		"--coating", "broadband, 8 to 12 um (maker)", "--transmission", "0.93(2)", "--supplier", "Optics shop A (invented)", "--cost", "39EUR", "--on-hand", "3")
	do("", "lens", "add", "zn20", "--material", "ZnSe", "--r1", "28.1mm", "--r2", "plane", "--thickness", "2.5mm", "--diameter", "12.7mm", "--clear-aperture", "11.4mm", "--transmission", "0.95(2)",
		"--supplier", "Optics shop B (invented)", "--cost", "31USD", "--on-hand", "2")
	do("", "lens", "add", "zn38", "--material", "ZnSe", "--focal", "38.1mm", "--at", "10.6um", "--diameter", "20mm", "--cost", "24USD", "--on-hand", "1")
	do("", "camera", "add", "cam-a", "--pixels", "256x192", "--pitch", "12um", "--band", "8um..14um", "--focal", "4.1mm", "--f-number", "1.1", "--nearest-focus", "180mm",
		"--frame-rate", "25Hz", "--netd", "60mK", "--accuracy", "2K", "--accuracy-fraction", "2%", "--serial", "A-0007 (invented)", "--firmware", "1.4", "--cost", "310EUR")
	do("", "camera", "add", "cam-b", "--pixels", "80x60", "--pitch", "17um", "--band", "7.5um..13.5um", "--focal", "9.1mm", "--f-number", "1.0", "--nearest-focus", "150mm",
		"--frame-rate", "9Hz", "--netd", "50mK", "--accuracy", "2K", "--accuracy-fraction", "2%", "--cost", "480EUR")
	do("", "artefact", "add", "wire-50", "--form", "wire", "--size", "50.0(8)um", "--certificate", "W-50/3, wire maker (invented)", "--certified-on", "2025-11-03")
	do("", "artefact", "add", "foil", "--form", "bar-target", "--size", "G1E1", "--size", "G1E5", "--size", "G2E3", "--how-known", "etched foil, nominal")
	do("", "artefact", "add", "blade", "--form", "edge", "--size", "10mm", "--how-known", "razor blade before a warm black plate")
	do("", "artefact", "add", "grid-400", "--form", "pitch", "--size", "400.0(5)um", "--certificate", "G-400/1, grid maker (invented)", "--certified-on", "2025-10-20")
	do("", "instrument", "add", "dmm", "--form", "meter", "--measures", "voltage, current", "--serial", "M-11 (invented)", "--accuracy", "0.1 % + 2 digits")
	do("", "instrument", "calibrate", "dmm", "--on", "2025-09-01", "--due", "2026-09-01", "--laboratory", "Calibration house C (invented)", "--certificate", "C-2219")
	do("", "expense", "add", "--for", "three germanium lenses", "--cost", "117EUR", "--part", "ge25", "--on", "2025-12-10")

	do("three setups, with their figures computed from the lenses",
		"setup", "add", "close", "--camera", "cam-a", "--stack", "ge25 flipped, 0.5mm, ge25 flipped, 0.5mm, ge25 flipped, 3mm", "--focus", "infinity", "--notes", "turned holder, 12.7 mm bore")
	do("", "setup", "add", "wide", "--camera", "cam-a", "--stack", "zn38, 4mm", "--focus", "infinity")
	do("", "setup", "add", "stage", "--camera", "cam-b", "--stack", "zn20 flipped, 0.5mm, ge25 flipped, 5mm", "--focus", "300mm")

	do("what the setups really do, on things of known size",
		"capture", "add", "--purpose", "check", "--on", "wire-50", "--setup", "close", "--file", file("wire-50-close.csv"), "--unit", "degC", "--ambient", "22.4(3)C", "--reflected", "22.4(10)C",
		"--emissivity", "0.95(2)", "--emissivity-from", "table", "--emissivity-source", "black paint behind the wires, usual value, no source", "--distance", "6.6(2)mm", "--focus-method", "steepest edge of the wire",
		"--averaging", "16", "--when", "2026-01-12T10:20:00Z")
	do("", "outcome", "add", "--resolved", "50um", "--on", "wire-50", "--capture", "capture-1", "--judged", "dip of 31 % beside the wire, by profile", "--when", "2026-01-12")
	do("", "capture", "add", "--purpose", "check", "--on", "foil", "--setup", "wide", "--file", file("foil-wide.csv"), "--unit", "degC", "--ambient", "22.6(3)C", "--focus-method", "by eye", "--when", "2026-01-12T11:05:00Z")
	do("", "outcome", "add", "--resolved", "G1E1", "--on", "foil", "--capture", "capture-2", "--judged", "by eye", "--when", "2026-01-12")
	do("", "capture", "add", "--purpose", "check", "--on", "blade", "--setup", "close", "--file", file("edge-close.csv"), "--unit", "degC", "--ambient", "22.6(3)C", "--focus-method", "steepest edge", "--when", "2026-01-12T11:30:00Z")
	do("", "capture", "add", "--purpose", "check", "--on", "grid-400", "--setup", "close", "--file", file("pitch-close.csv"), "--unit", "degC", "--ambient", "22.6(3)C", "--focus-method", "steepest edge", "--when", "2026-01-12T11:45:00Z")
	do("", "capture", "measure", "capture-4", "--as", "scale", "--pitch", "400.0(5)um")
	do("", "capture", "measure", "capture-3", "--as", "edge")
	do("", "outcome", "add", "--finding", "finding-2", "--when", "2026-01-12")

	ask("Which setup resolved 50 µm?", "report", "resolved", "50um")
	ask("Which stack of the lenses at hand would do it over a larger field, further away?", "setup", "plan", "--camera", "cam-a", "--resolve", "50um", "--field", "5.5mm", "--clearance", "8mm", "--budget", "120EUR", "--on-hand", "--keep", "4")

	do("a project under a non-disclosure agreement",
		"project", "add", "kestrel", "--client", "client K (invented)", "--nda", "--budget", "1500EUR", "--question", "Where on the driver die does the power go?", "--question", "Does the hottest point stay below 125 °C at 1 W?", "--question", "Is the client's thermal model right?")
	do("", "specimen", "add", "drv-1", "--project", "kestrel", "--form", "decapped-package", "--identity", "lot 7, date code 2544 (invented)", "--size", "6.6mmx4.9mm", "--worth", "64EUR", "--max-power", "1.5W",
		"--max-temperature", "125C", "--limit-source", "client's letter of 2026-01-05", "--beryllia", "excluded", "--received", "2026-01-08", "--from", "client K, by courier", "--condition", "unopened, leads straight",
		"--handling", "return every piece")
	do("", "specimen", "add", "drv-2", "--project", "kestrel", "--form", "decapped-package", "--identity", "lot 7, date code 2544 (invented)", "--size", "6.6mmx4.9mm", "--worth", "64EUR", "--max-power", "1.5W",
		"--max-temperature", "125C", "--limit-source", "client's letter of 2026-01-05", "--beryllia", "excluded", "--received", "2026-01-08", "--from", "client K, by courier")
	do("", "specimen", "prepare", "drv-1", "--step", "decap-acid", "--method", "sent out to a licensed laboratory", "--person", "Laboratory D (invented)", "--on", "2026-01-14", "--result", "die free, bonds whole")
	do("", "specimen", "prepare", "drv-2", "--step", "decap-acid", "--method", "sent out to a licensed laboratory", "--person", "Laboratory D (invented)", "--on", "2026-01-14", "--result", "die free, one bond lifted")
	do("", "specimen", "move", "drv-1", "--to", "bench 1, dry box", "--on", "2026-01-16")
	do("the power stepped up, each step asked about first",
		"capture", "add", "--specimen", "drv-1", "--setup", "close", "--purpose", "reference", "--unpowered", "--file", file("drv-1-reference.csv"), "--unit", "degC", "--ambient", "23.0(2)C", "--reflected", "23.2(5)C", "--emissivity", "0.930(15)", "--emissivity-from", "measured", "--emissivity-source", "black coat against a contact probe at 60 °C", "--distance", "7.1(2)mm", "--focus-method", "sharpest bond wire", "--averaging", "8", "--instrument", "dmm", "--when", "2026-01-19T09:10:00Z")
	do("", "capture", "measure", "capture-5", "--optics", "23.1(5)C", "--transmission", "0.804(8)")
	ask("Nothing is known yet. How far may the first step go?", "specimen", "headroom", "drv-1", "--to", "0.15W")
	do("",
		"capture", "add", "--specimen", "drv-1", "--setup", "close", "--voltage", "5.00(1)V", "--current", "30.0(1)mA", "--file", file("drv-1-150-milliwatt.csv"), "--unit", "degC", "--ambient", "23.0(2)C", "--reflected", "23.2(5)C", "--emissivity", "0.930(15)", "--emissivity-from", "measured", "--emissivity-source", "black coat against a contact probe at 60 °C", "--distance", "7.1(2)mm", "--focus-method", "sharpest bond wire", "--averaging", "8", "--instrument", "dmm", "--since-power", "12min", "--when", "2026-01-19T09:40:00Z")
	do("", "capture", "measure", "capture-6", "--optics", "23.1(5)C", "--transmission", "0.804(8)")
	do("",
		"capture", "add", "--specimen", "drv-1", "--setup", "close", "--voltage", "5.00(1)V", "--current", "36.0(2)mA", "--file", file("drv-1-180-milliwatt.csv"), "--unit", "degC", "--ambient", "23.0(2)C", "--reflected", "23.2(5)C", "--emissivity", "0.930(15)", "--emissivity-from", "measured", "--emissivity-source", "black coat against a contact probe at 60 °C", "--distance", "7.1(2)mm", "--focus-method", "sharpest bond wire", "--averaging", "8", "--instrument", "dmm", "--since-power", "12min", "--when", "2026-01-19T09:55:00Z")
	do("", "capture", "measure", "capture-7", "--optics", "23.1(5)C", "--transmission", "0.804(8)")
	do("",
		"capture", "add", "--specimen", "drv-1", "--setup", "close", "--voltage", "5.00(1)V", "--current", "72.0(3)mA", "--file", file("drv-1-360-milliwatt.csv"), "--unit", "degC", "--ambient", "23.0(2)C", "--reflected", "23.2(5)C", "--emissivity", "0.930(15)", "--emissivity-from", "measured", "--emissivity-source", "black coat against a contact probe at 60 °C", "--distance", "7.1(2)mm", "--focus-method", "sharpest bond wire", "--averaging", "8", "--instrument", "dmm", "--since-power", "12min", "--when", "2026-01-19T10:10:00Z")
	do("", "capture", "measure", "capture-8", "--optics", "23.1(5)C", "--transmission", "0.804(8)")
	do("",
		"capture", "add", "--specimen", "drv-1", "--setup", "close", "--voltage", "5.00(1)V", "--current", "140.0(6)mA", "--file", file("drv-1-700-milliwatt.csv"), "--unit", "degC", "--ambient", "23.0(2)C", "--reflected", "23.2(5)C", "--emissivity", "0.930(15)", "--emissivity-from", "measured", "--emissivity-source", "black coat against a contact probe at 60 °C", "--distance", "7.1(2)mm", "--focus-method", "sharpest bond wire", "--averaging", "8", "--instrument", "dmm", "--since-power", "12min", "--when", "2026-01-19T10:30:00Z")
	do("", "capture", "measure", "capture-9", "--optics", "23.1(5)C", "--transmission", "0.804(8)")
	ask("Four powers are measured. May the part go to one watt?", "specimen", "headroom", "drv-1", "--to", "1W")
	do("",
		"capture", "add", "--specimen", "drv-1", "--setup", "close", "--voltage", "5.00(1)V", "--current", "200.0(8)mA", "--file", file("drv-1-one-watt.csv"), "--unit", "degC", "--ambient", "23.0(2)C", "--reflected", "23.2(5)C", "--emissivity", "0.930(15)", "--emissivity-from", "measured", "--emissivity-source", "black coat against a contact probe at 60 °C", "--distance", "7.1(2)mm", "--focus-method", "sharpest bond wire", "--averaging", "8", "--instrument", "dmm", "--since-power", "12min", "--when", "2026-01-19T10:50:00Z")
	ask("How hot is the hottest point at one watt, and how well is that known?", "capture", "measure", "capture-10", "--optics", "23.1(5)C", "--transmission", "0.804(8)")
	ask("Where is it?", "capture", "measure", "capture-10", "--as", "spots", "--corrected", "finding-8", "--reference", "finding-3", "--threshold", "150")
	ask("How much does each watt heat it?", "specimen", "measure", "drv-1", "--as", "resistance")
	ask("Where does the power go? As the camera reports it, the balance with the meter does not close:", "capture", "measure", "capture-10", "--as", "power", "--reference", "capture-5", "--thickness", "0.300(5)mm", "--conductivity", "148(4)", "--film", "1500(60)", "--region", "60,70,40,55", "--electrical", "1.000(5)W")
	ask("Corrected for emissivity, reflection and lenses it does:", "capture", "measure", "capture-10", "--as", "power", "--corrected", "finding-8", "--ambient", "23.0C", "--thickness", "0.300(5)mm", "--conductivity", "148(4)", "--film", "1500(60)", "--region", "60,70,40,55", "--electrical", "1.000(5)W")
	ask("Is the client's model right?", "capture", "measure", "capture-10", "--as", "model", "--corrected", "finding-8", "--model", file("model-right.csv"), "--model-pixel", "51.2um", "--blur-fwhm", "54um", "--u-measured", "1K", "--u-model", "0.5K")
	ask("And the one that was made after that?", "capture", "measure", "capture-10", "--as", "model", "--corrected", "finding-8", "--model", file("model-left.csv"), "--model-pixel", "51.2um", "--blur-fwhm", "54um", "--u-measured", "1K", "--u-model", "0.5K")
	do("what came of it",
		"outcome", "add", "--project", "kestrel", "--question", "1", "--capture", "capture-10", "--answer", "Almost all of it in the left output transistor; the right one stays cool.", "--when", "2026-01-19",
		"--lesson", "The half-watt frame already shows it.")
	do("", "outcome", "add", "--project", "kestrel", "--question", "3", "--capture", "capture-10", "--answer", "The first model puts the power into the wrong transistor; the second agrees.", "--when", "2026-01-19")
	no("The advice that would have saved drv-2, had it been asked:", "specimen", "headroom", "drv-2", "--to", "2.5W")
	ask("It was not asked.", "outcome", "add", "--lost", "--specimen", "drv-2", "--cost", "64EUR", "--because", "the supply's current limit stood at 3 A when it was switched on", "--lesson", "Ask for the headroom, and set the limit with the output shorted, before the part is connected.", "--when", "2026-01-20")

	do("own work, less carefully recorded",
		"project", "add", "heron", "--budget", "300EUR", "--question", "Which converter on the board runs hottest?")
	do("", "specimen", "add", "board-1", "--project", "heron", "--form", "board", "--identity", "prototype 3 (invented)", "--size", "60mmx40mm", "--beryllia", "excluded", "--hazard", "charged capacitors after switch-off")
	do("", "specimen", "prepare", "board-1", "--step", "power", "--method", "bench supply, limit 0.5 A", "--on", "2026-02-02")
	do("", "capture", "add", "--specimen", "board-1", "--setup", "stage", "--power", "2.1W", "--file", file("board-1.csv"), "--unit", "degC", "--deviation", "draught from an open window", "--when", "2026-02-02T16:00:00Z")
	do("", "outcome", "add", "--capture", "capture-11", "--question", "1", "--inconclusive", "two converters within a degree of each other, and no emissivity on record", "--when", "2026-02-02",
		"--lesson", "Black paint on both before the next try.")
	do("", "capture", "amend", "capture-11", "--ambient", "21.5(5)C", "--reason", "read from the room logger afterwards")

	ask("Everything about the one-watt capture in a report, with its pictures.", "report", "capture", "capture-10", "--to", dir+"/capture-10.md")
	ask("Which captures lack conditions?", "find", "gaps")
	ask("What was lost, and what did it cost?", "find", "losses")
	ask("How did the one-watt capture come to be?", "trail", "capture-10")
	ask("Is everything as it was written?", "verify")
	return s
}
