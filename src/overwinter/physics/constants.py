"""Water, ice and air near freezing, each figure with the page or library it was taken from.

[IAPWS-95], [R10-06]: the releases of the International Association for the Properties of Water and Steam
for water and for ice, computed with iapws 1.5.5 at 101.325 kPa; CoolProp 8.0.0 agrees for water.
[AHF21]: 2021 ASHRAE Handbook - Fundamentals (SI). [CRC]: CRC Handbook, "Properties of Ice and Supercooled
Water". [CoolProp]: computed with CoolProp 8.0.0, pure dry air at 101.325 kPa.
"""

WATER_KG_M3 = 999.97
"""Density of water at 5 °C [IAPWS-95: 999.967]; 999.84 at 0 °C, 999.70 at 10 °C."""

WATER_J_KGK = 4212.0
"""Specific heat of water, mean between 0 and 5 °C [IAPWS-95: 21.05 kJ/kg in 5 K; AHF21: 21.06]."""

FUSION_J_KG = 333_430.0
"""Heat of fusion at 0 °C [IAPWS-95 minus R10-06: 333.43 kJ/kg; AHF21 the same; CRC 333.6]."""

ICE_KG_M3 = 916.72
"""Density of ice at 0 °C [R10-06 table 6: 916.721]: water grows by 9.07 % when it freezes."""

ICE_W_MK = 2.2
"""Conductivity of ice near 0 °C [CRC: 2.14 at 0 °C, 2.3 at -10 °C; other handbooks 2.22 and 2.24]."""

AIR_KG_M3 = 1.2931
"""Density of dry air at 0 °C and sea level [CoolProp]: about what comes in through gaps on a cold night."""

AIR_J_KGK = 1005.7
"""Specific heat of dry air at 0 °C and constant pressure [CoolProp]."""

AIR_J_M3K = AIR_KG_M3 * AIR_J_KGK
"""Heat in a cubic metre of air at 0 °C [J/(m3 K)], 1300. Handbooks reckon with 1210 (0.336 Wh/(m3 K)) at
20 °C [AHF21 ch. 19]; cold air carries 7 % more, and a heater is chosen for cold air."""

SEA_LEVEL_PA = 101_325.0
"""Standard atmosphere at sea level, exact by definition."""
