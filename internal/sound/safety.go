package sound

import (
	"fmt"
	"math"
)

// WeeklyHours is how long a week a level in dBA is reckoned safe for an adult by WHO
// and ITU-T H.870 (2018, "safe listening"): 80 dBA for 40 hours, half the time for
// each 3 dB more.
func WeeklyHours(level float64) float64 { return 40 / math.Exp2((level-80)/3) }

// DailyMinutes is how long a day by the criteria of NIOSH (publication 98-126, 1998)
// for work: 85 dBA for 8 hours, half the time for each 3 dB more. They were not made
// for leisure.
func DailyMinutes(level float64) float64 { return 480 / math.Exp2((level-85)/3) }

// Caution tells it in a few lines, for the place where a sound is written to be
// listened to.
func Caution() string {
	return fmt.Sprintf("Loudness: WHO and ITU-T H.870 reckon %.0f hours a week at 80 dBA as safe for an adult, %.0f hours at 89 dBA; "+
		"NIOSH allows %.0f hours a day of work at 85 dBA, %.0f minutes at 100. Playing counts with listening. Start soft; "+
		"local rules and a physician's word go before these figures.",
		WeeklyHours(80), WeeklyHours(89), DailyMinutes(85)/60, DailyMinutes(100))
}
