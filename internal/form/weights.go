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
	Bias: -1.2082,
	Arrival: [arrivalFeatures]float64{
		-0.4796, // off-beat
		-0.7511, // weak-beat
		0.5080,  // held
		-0.0152, // span
		-0.0394, // calm
		0.6540,  // gap
		0.4560,  // rest
		-0.2141, // fifth
		0.2179,  // leading
		-0.0288, // chord
		-0.1764, // home
		-0.2795, // dominant
		0.5061,  // four
		-0.2042, // eight
		0.0750,  // two
		1.0688,  // again
		0.3813,  // break
		-1.2928, // goes-on
		-0.1223, // triad
		1.2720,  // seventh
		0.5507,  // authentic
		0.0785,  // half
		-1.2640, // silent
	},
	Length: [lengthFeatures]float64{
		-1.0774, // bars-1
		-1.5414, // bars-2
		-0.6946, // bars-3
		0.7384,  // bars-4
		-0.2461, // bars-5-7
		0.7489,  // bars-8
		-0.1123, // bars-9-11
		-0.6998, // bars-12
		0.6173,  // bars-13-15
		-0.2414, // bars-16
		-0.1753, // bars-17-24
		0.2489,  // bars-25-up
		-0.6573, // bars-uneven
	},
}
