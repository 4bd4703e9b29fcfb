package form

import (
	"fmt"
	"strings"
)

// Fitted is a copy of the weights in use: with told, where harmony tells cadences.
func Fitted(told bool) *Weights {
	w := withoutHarmony
	if told {
		w = withHarmony
	}
	return &w
}

// Go writes the weights as this file has them.
func (w *Weights) Go() string {
	var b strings.Builder
	fmt.Fprintf(&b, "\tBias: %.4f,\n\tArrival: [arrivalFeatures]float64{\n", w.Bias)
	for i, n := range arrivalNames {
		fmt.Fprintf(&b, "\t\t%.4f, // %s\n", w.Arrival[i], n)
	}
	b.WriteString("\t},\n\tLength: [lengthFeatures]float64{\n")
	for i, n := range lengthNames {
		fmt.Fprintf(&b, "\t\t%.4f, // %s\n", w.Length[i], n)
	}
	b.WriteString("\t},\n")
	return b.String()
}

// withoutHarmony is fitted to the phrase marks of 28 movements (DCMLab/bach_solo):
// what Fit gives, which a test of cmd/accuracy compares.
var withoutHarmony = Weights{
	Bias: -1.5993,
	Arrival: [arrivalFeatures]float64{
		-0.5595, // off-beat
		-0.8277, // weak-beat
		0.6159,  // held
		-0.1093, // span
		0.0223,  // calm
		0.7163,  // gap
		0.4348,  // rest
		-0.2368, // fifth
		0.2404,  // leading
		-0.0847, // chord
		-0.0885, // home
		-0.2665, // dominant
		0.5321,  // four
		-0.2130, // eight
		0.0803,  // two
		1.2456,  // again
		0.3166,  // break
		-1.5898, // goes-on
		-0.2591, // triad
		1.4522,  // seventh
		0.0000,  // authentic
		0.0000,  // half
		0.0000,  // silent
	},
	Length: [lengthFeatures]float64{
		-1.3591, // bars-1
		-1.9213, // bars-2
		-1.1486, // bars-3
		0.3632,  // bars-4
		-0.6315, // bars-5-7
		0.5193,  // bars-8
		-0.3694, // bars-9-11
		-0.7401, // bars-12
		0.5105,  // bars-13-15
		-0.1933, // bars-16
		-0.1515, // bars-17-24
		0.5720,  // bars-25-up
		-0.7311, // bars-uneven
	},
}

// withHarmony is fitted to the same marks with the cadences that harmony tells of
// each movement when it has not learned from it; cmd/accuracy form says how far the
// table is from what the data give.
var withHarmony = Weights{
	Bias: -1.2288,
	Arrival: [arrivalFeatures]float64{
		-0.4482, // off-beat
		-0.7250, // weak-beat
		0.5520,  // held
		-0.0424, // span
		0.1062,  // calm
		0.7147,  // gap
		0.3433,  // rest
		-0.1417, // fifth
		0.2288,  // leading
		-0.0966, // chord
		-0.2385, // home
		-0.1482, // dominant
		0.5165,  // four
		-0.2462, // eight
		0.0805,  // two
		1.3823,  // again
		0.3944,  // break
		-1.2899, // goes-on
		-0.1889, // triad
		1.1810,  // seventh
		1.1657,  // authentic
		-0.7950, // half
		-1.2814, // silent
	},
	Length: [lengthFeatures]float64{
		-1.0960, // bars-1
		-1.5736, // bars-2
		-0.6572, // bars-3
		0.6829,  // bars-4
		-0.2828, // bars-5-7
		0.7439,  // bars-8
		-0.0771, // bars-9-11
		-0.7636, // bars-12
		0.6631,  // bars-13-15
		-0.2408, // bars-16
		-0.0816, // bars-17-24
		0.2615,  // bars-25-up
		-0.6594, // bars-uneven
	},
}
