package physics

// EMC gives the equilibrium moisture content of solid wood in % of its dry
// mass, from air temperature (°C) and relative humidity (%, held within 0 to
// 100): Hailwood-Horrobin as fitted by Simpson 1998 (USDA FPL-RN-0268; Wood
// Handbook ch. 4 eq. 4-5). The handbook's table is reproduced within 0.06 from
// -1 to 54 °C and 5 to 95 % (S+R). Beyond that it is extrapolated.
//
// It says where surface fibres are heading within minutes; a panel takes weeks,
// and liquid rain is outside it. A meter reading at the site goes before it.
func EMC(airC, rhPct float64) float64 {
	h := clamp(rhPct, 0, 100) / 100
	w := 349 + airC*(1.29+0.0135*airC)
	k := 0.805 + airC*(0.000736-0.00000273*airC)
	k1 := 6.27 + airC*(-0.00938-0.000303*airC)
	k2 := 1.91 + airC*(0.0407-0.000293*airC)
	kh := k * h
	a, b := k1*kh, k1*k2*kh*kh
	return 1800 / w * (kh/(1-kh) + (a+2*b)/(1+a+b))
}
