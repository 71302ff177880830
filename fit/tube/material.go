package tube

import "strings"

// Densities and moduli of the built-in steels.
const (
	steelDensity = 7850   // kg/m3; the usual weight tables are made with it
	carbonE      = 210000 // N/mm2, Eurocode 3 (from memory)
	alloyE       = 205000 // N/mm2, CrMo and the inch steels (from memory)
)

const (
	en10305 = "yield: EN 10305-1 minimum, read in a mill's data sheet; E 210 GPa: Eurocode 3, from memory"
	a513    = "yield: ASTM A513 minimum, read in a dealer's table; E 205 GPa: from memory"
)

// materials is in the order in which it is shown. One ksi is 6.895 N/mm2;
// yields in ksi are rounded to 1 N/mm2.
var materials = []Material{
	{"E235+N", 235, carbonE, steelDensity, en10305},
	{"E235+SR", 350, carbonE, steelDensity, en10305},
	{"E255+N", 255, carbonE, steelDensity, en10305},
	{"E255+SR", 375, carbonE, steelDensity, en10305},
	{"E355+N", 355, carbonE, steelDensity, en10305},
	{"E355+SR", 450, carbonE, steelDensity, en10305},
	{"S355", 355, carbonE, steelDensity, "yield: EN 10025-2 up to 16 mm, from memory; E 210 GPa: Eurocode 3, from memory"},
	{"1020 ERW", 262, alloyE, steelDensity, a513 + "; as welded, 38 ksi"},
	{"1026 ERW", 310, alloyE, steelDensity, a513 + "; as welded, 45 ksi"},
	{"1020 N", 241, alloyE, steelDensity, a513 + "; normalized, 35 ksi"},
	{"1020 DOM", 414, alloyE, steelDensity, a513 + "; type 5, 60 ksi"},
	{"1026 DOM", 483, alloyE, steelDensity, a513 + "; type 5, 70 ksi"},
	{"1020 DOM SR", 379, alloyE, steelDensity, a513 + "; type 5 stress-relieved, 55 ksi"},
	{"1026 DOM SR", 448, alloyE, steelDensity, a513 + "; type 5 stress-relieved, 65 ksi"},
	{"4130 DOM", 586, alloyE, steelDensity, a513 + "; type 5, 85 ksi"},
	{"4130 N", 483, alloyE, steelDensity, "yield: 70 ksi, ASTM A519 normalized, from memory (dealers' typical figures read: 63 to 65 ksi); E 205 GPa: from memory"},
	{"25CrMo4", 483, alloyE, steelDensity, "taken as 4130 N, whose European counterpart it is; no figure of its own"},
}

// Materials returns the built-in steels. Yields are minimum or typical figures
// of the standard that Source names; what a mill delivers is often stronger,
// and springs back more.
func Materials() []Material { return append([]Material(nil), materials...) }

// LookupMaterial returns the built-in steel of that name; upper and lower case
// and blanks make no difference.
func LookupMaterial(name string) (Material, bool) {
	key := materialKey(name)
	for _, m := range materials {
		if materialKey(m.Name) == key {
			return m, true
		}
	}
	return Material{}, false
}

func materialKey(name string) string {
	return strings.ToLower(strings.Join(strings.Fields(name), ""))
}
