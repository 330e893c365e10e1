/* plant.h - the cooling of one engine at one instant. Pure.
 *
 *     fuel -> heat into the jacket water -> thermostat -> exchanger -> raw water -> overboard
 *
 * Sources: propeller law (power with the cube of speed) and the share of heat that goes into the
 * jacket water are common practice, no source. Effectiveness of a counterflow exchanger: W. M.
 * Kays, A. L. London, Compact Heat Exchangers, the relation eps = (1 - exp(-N (1 - c))) / (1 - c
 * exp(-N (1
 * - c))), from memory. Film conductance with flow to the power 0.8 in turbulent tubes: Dittus and
 * Boelter, from memory.
 */
#ifndef SEARUN_SIMULATED_PLANT_H
#define SEARUN_SIMULATED_PLANT_H

#include "boat.h"

/* Fuel in L/h, and heat into the jacket water in kW, at a speed and a load relative to nominal. */
double plant_fuel(const struct boat_engine *engine, double rpm, double load);
double plant_heat(const struct boat_engine *engine, double rpm, double load);

/* What the engine burns there over what it could burn at that speed, percent. */
double plant_percent_load(const struct boat_engine *engine, double rpm, double load);

/* kW that the exchanger takes for each kelvin between coolant and sea, all coolant through it or a
 * share of the flow (0 .. 1). */
double plant_conductance(const struct boat_engine *engine, double rpm, double flow_share);

/* The same behind the thermostat at an opening of 0 .. 1. */
double plant_taken(const struct boat_engine *engine, double rpm, double opening);

/* Opening of the thermostat that is at `temperature` degC for long. */
double plant_opening(const struct boat_engine *engine, double temperature);

/* kW/K of raw water at that speed. */
double plant_raw_flow(const struct boat_engine *engine, double rpm);

/* kJ/K of the whole heat store. */
double plant_store(const struct boat_engine *engine);

/* Temperature of the engine room around a coolant temperature, outside air in degC. */
double plant_room(double coolant, double air);

#endif
