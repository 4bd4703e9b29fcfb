package voices

import "math"

// DefaultWeights gives the committed weights, a new copy at each call. They were
// learned from interleaved and single parts of open quartets by an averaged structured
// perceptron (go run ./cmd/accuracy voices-weights prints them; voices prints what
// weights learned without a piece do in that piece). Only differences count: a sum
// that every tone pays alike changes nothing.
func DefaultWeights() *Weights {
	return &Weights{
		Stay: [32]float64{-19.13, -22.89, -16.70, -13.22, -8.41, -5.29, -0.37, 1.21, 4.28, 4.17, 3.28, 8.96, -6.37, 10.49, 13.79, 8.42, 10.92, 14.18, 9.13, 13.62, 9.72, 10.35, 8.74, 6.82, 10.94, 6.59, 8.90, 7.62, 9.15, 8.85, 6.25, 10.98},
		Go:   [32]float64{-5.21, -15.07, -9.22, -5.43, -3.32, -3.57, 0.85, -1.78, 0.65, 0.25, 0.49, 2.78, -2.94, 6.64, 7.24, 3.61, 5.88, 9.75, 8.96, 10.17, 8.24, 9.37, 9.12, 6.22, 10.10, 6.91, 7.69, 9.24, 8.59, 9.44, 6.52, 13.82},
		Skip: [9]float64{-2.68, -14.41, -1.02, 3.66, 2.72, 4.12, 9.39, 4.90, -11.04},
		Wait: [20]float64{7.84, 1.78, -0.01, 1.67, -3.79, -4.51, -4.64, -1.25, -8.03, -1.07, -3.02, 2.02, 3.85, 3.10, 3.27, -6.50, 4.93, 0.00, 0.00, 0.00},
		Side: [2][sideBelow + sideAbove + 1]float64{
			{0.00, 0.00, 0.00, 0.00, 0.00, 0.00, 0.00, 0.00, 0.00, 0.00, 0.00, 0.00, 0.00, 0.00, 0.00, 0.00, 0.00, 0.00, 5.29, 1.92, -1.15, 0.34, -2.97, 0.92, -0.34, -0.89, -1.13, -0.25, -0.23, 0.88, 0.04, 0.87, -0.81, -0.03, -0.36, 0.22, 0.61, 0.20, 0.56, 0.56, 0.76, 0.57, 0.58, 0.19, 0.63, 0.04, 0.30, 0.41, 0.03, 0.28, 0.08, 0.00, 0.00, 0.10, 0.37},
			{8.44, 2.33, 3.29, 2.50, 2.43, 0.95, 5.07, 1.91, 2.82, 2.04, 6.50, 4.80, 3.20, 6.26, 7.05, 7.56, 7.40, 7.33, 2.21, 0.43, 0.34, 0.72, 2.00, 1.39, 0.57, 1.50, 0.81, 0.14, 0.75, 0.73, 1.43, 0.98, 0.70, 0.08, -0.73, 0.25, -1.45, 0.33, -0.79, -0.86, -0.44, -0.63, -0.53, -1.08, -0.82, -1.14, -3.36, -0.96, -1.83, -0.48, -0.90, -2.28, -0.89, -1.03, -1.47},
		},
		Turn:  [2][3]float64{{-4.09, -5.37, 2.56}, {-1.13, 3.69, 4.34}},
		Enter: 9.35,
	}
}

// FirstWeights is where learning begins: near tones belong together.
func FirstWeights() *Weights {
	w := &Weights{Enter: 5}
	for i := range w.Stay {
		w.Stay[i] = math.Sqrt(float64(i))
		w.Go[i] = w.Stay[i]
	}
	return w
}
