/* cases_n2k.h - NMEA 2000 messages and what they hold.
 *
 * Payloads are our own, put together from the layouts of the open PGN database canboat (schema 2.3.0,
 * version 6.2.0). The numbers expected were found by an independent general-purpose PGN decoder that is
 * built on the same database, and converted to our units (K - 273.15, Pa / 1000, s / 3600, rad * 180 / pi).
 * What is special (not available, out of range, reserved) follows the rules of the database. Lines are
 * those of can_kit.h.
 */
/* clang-format off */
{127488, 35, "idle",
 "009A0B170000FFFF",
 "127488 engine 0 35 \"\" engine_speed=742.5 boost_pressure=2.3 drive_trim=0\n"},
{127488, 36, "second engine, fast, astern trim",
 "01AE2B3006F4FFFF",
 "127488 engine 1 36 \"\" engine_speed=2795.5 boost_pressure=158.4 drive_trim=-12\n"},
{127488, 35, "not available",
 "00FFFFFFFF7FFFFF",
 "tally not_available 3\n"},
{127488, 35, "out of range",
 "00FEFFFEFF7EFFFF",
 "tally out_of_range 3\n"},
{127488, 35, "reserved",
 "00FDFFFDFF7DFFFF",
 "tally reserved 3\n"},
{127488, 35, "FF in the trim: not available in practice",
 "00C0129001FFFFFF",
 "127488 engine 0 35 \"\" engine_speed=1200 boost_pressure=40\n"
 "tally not_available 1\n"},
{127488, 35, "highest and lowest that are believable",
 "FC80BB10279CFFFF",
 "127488 engine 252 35 \"\" engine_speed=12000 boost_pressure=1000 drive_trim=-100\n"},
{127488, 35, "raw values below the special codes, beyond belief",
 "00FCFFFCFF7CFFFF",
 "tally out_of_range 3\n"},
{127488, 35, "instance not available",
 "FFC012000000FFFF",
 "tally bad_instance 1\n"},
{127488, 35, "instance reserved",
 "FDC012000000FFFF",
 "tally bad_instance 1\n"},
{127489, 35, "cruising",
 "006E0F6B0E9F8A8405120180FE44008E033001FF000000004742",
 "127489 engine 0 35 \"\" oil_pressure=395 oil_temperature=95.95 coolant_temperature=81.72 "
 "alternator_voltage=14.12 fuel_rate=27.4 engine_hours=1256 coolant_pressure=91 "
 "fuel_pressure=304 engine_status_1=0 engine_status_2=0 engine_load=71 engine_torque=66\n"},
{127489, 38, "second engine, astern of the first",
 "016E0F6B0E248D8405190170F044008E033001FF000000004A45",
 "127489 engine 1 38 \"\" oil_pressure=395 oil_temperature=95.95 coolant_temperature=88.17 "
 "alternator_voltage=14.12 fuel_rate=28.1 engine_hours=1255 coolant_pressure=91 "
 "fuel_pressure=304 engine_status_1=0 engine_status_2=0 engine_load=74 engine_torque=69\n"},
{127489, 35, "not available, status words of all ones",
 "00FFFFFFFFFFFFFF7FFF7FFFFFFFFFFFFFFFFFFFFFFFFFFF7F7F",
 "tally not_available 12\n"},
{127489, 35, "out of range",
 "00FEFFFEFFFEFFFE7FFE7FFEFFFFFFFEFFFEFFFF000000007E7E",
 "127489 engine 0 35 \"\" engine_status_1=0 engine_status_2=0\n"
 "tally out_of_range 10\n"},
{127489, 35, "reserved",
 "00FDFFFDFFFDFFFD7FFD7FFDFFFFFFFDFFFDFFFF000000007D7D",
 "127489 engine 0 35 \"\" engine_status_1=0 engine_status_2=0\n"
 "tally reserved 10\n"},
{127489, 35, "all ones in signed fields: not available in practice",
 "006E0F6B0E9F8AFFFFFFFF80FE44008E033001FF00000000FFFF",
 "127489 engine 0 35 \"\" oil_pressure=395 oil_temperature=95.95 coolant_temperature=81.72 "
 "engine_hours=1256 coolant_pressure=91 fuel_pressure=304 engine_status_1=0 engine_status_2=0\n"
 "tally not_available 4\n"},
{127489, 35, "status bits",
 "006E0F6B0E9F8A8405120180FE44008E033001FFC20006004742",
 "127489 engine 0 35 \"\" event over_temperature\n"
 "127489 engine 0 35 \"\" event low_coolant_level\n"
 "127489 engine 0 35 \"\" event water_flow\n"
 "127489 engine 0 35 \"\" event warning_level_2\n"
 "127489 engine 0 35 \"\" event power_reduction\n"
 "127489 engine 0 35 \"\" oil_pressure=395 oil_temperature=95.95 coolant_temperature=81.72 "
 "alternator_voltage=14.12 fuel_rate=27.4 engine_hours=1256 coolant_pressure=91 "
 "fuel_pressure=304 engine_status_1=194 engine_status_2=6 engine_load=71 engine_torque=66\n"},
{127489, 35, "all status bits but one",
 "006E0F6B0E9F8A8405120180FE44008E033001FFFF7FFEFF4742",
 "127489 engine 0 35 \"\" event check_engine\n"
 "127489 engine 0 35 \"\" event over_temperature\n"
 "127489 engine 0 35 \"\" event low_oil_pressure\n"
 "127489 engine 0 35 \"\" event low_oil_level\n"
 "127489 engine 0 35 \"\" event low_fuel_pressure\n"
 "127489 engine 0 35 \"\" event low_system_voltage\n"
 "127489 engine 0 35 \"\" event low_coolant_level\n"
 "127489 engine 0 35 \"\" event water_flow\n"
 "127489 engine 0 35 \"\" event water_in_fuel\n"
 "127489 engine 0 35 \"\" event charge_indicator\n"
 "127489 engine 0 35 \"\" event preheat_indicator\n"
 "127489 engine 0 35 \"\" event high_boost_pressure\n"
 "127489 engine 0 35 \"\" event rev_limit_exceeded\n"
 "127489 engine 0 35 \"\" event egr_system\n"
 "127489 engine 0 35 \"\" event throttle_position_sensor\n"
 "127489 engine 0 35 \"\" event warning_level_2\n"
 "127489 engine 0 35 \"\" event power_reduction\n"
 "127489 engine 0 35 \"\" event maintenance_needed\n"
 "127489 engine 0 35 \"\" event engine_communication_error\n"
 "127489 engine 0 35 \"\" event secondary_throttle\n"
 "127489 engine 0 35 \"\" event neutral_start_protect\n"
 "127489 engine 0 35 \"\" event engine_shutting_down\n"
 "127489 engine 0 35 \"\" event engine_status_2_bit_8\n"
 "127489 engine 0 35 \"\" event engine_status_2_bit_9\n"
 "127489 engine 0 35 \"\" event engine_status_2_bit_10\n"
 "127489 engine 0 35 \"\" event engine_status_2_bit_11\n"
 "127489 engine 0 35 \"\" event engine_status_2_bit_12\n"
 "127489 engine 0 35 \"\" event engine_status_2_bit_13\n"
 "127489 engine 0 35 \"\" event engine_status_2_bit_14\n"
 "127489 engine 0 35 \"\" event engine_status_2_bit_15\n"
 "127489 engine 0 35 \"\" oil_pressure=395 oil_temperature=95.95 coolant_temperature=81.72 "
 "alternator_voltage=14.12 fuel_rate=27.4 engine_hours=1256 coolant_pressure=91 "
 "fuel_pressure=304 engine_status_1=32767 engine_status_2=65534 engine_load=71 "
 "engine_torque=66\n"},
{127489, 35, "freezing, everything at rest",
 "000000400A7966A30400000000000000000000FF000000000000",
 "127489 engine 0 35 \"\" oil_pressure=0 oil_temperature=-10.75 coolant_temperature=-10.82 "
 "alternator_voltage=11.87 fuel_rate=0 engine_hours=0 coolant_pressure=0 fuel_pressure=0 "
 "engine_status_1=0 engine_status_2=0 engine_load=0 engine_torque=0\n"},
{127489, 35, "colder than believable, negative fuel",
 "006E0FD007204E8405E0FF80FE44008E033001FF000000004742",
 "127489 engine 0 35 \"\" oil_pressure=395 alternator_voltage=14.12 engine_hours=1256 "
 "coolant_pressure=91 fuel_pressure=304 engine_status_1=0 engine_status_2=0 engine_load=71 "
 "engine_torque=66\n"
 "tally out_of_range 3\n"},
{127493, 35, "ahead",
 "00FC7C473B0D00FF",
 "127493 engine 0 35 \"\" transmission_gear=1 transmission_oil_pressure=1830 "
 "transmission_oil_temperature=65.55 transmission_status=0\n"},
{127493, 35, "neutral",
 "01FD0000730B12FF",
 "127493 engine 1 35 \"\" event transmission_status_bit_1\n"
 "127493 engine 1 35 \"\" event transmission_status_bit_4\n"
 "127493 engine 1 35 \"\" transmission_gear=0 transmission_oil_pressure=0 "
 "transmission_oil_temperature=19.95 transmission_status=18\n"},
{127493, 35, "astern",
 "00FEF843540D00FF",
 "127493 engine 0 35 \"\" transmission_gear=-1 transmission_oil_pressure=1740 "
 "transmission_oil_temperature=68.05 transmission_status=0\n"},
{127493, 35, "not available",
 "00FFFFFFFFFFFFFF",
 "tally not_available 4\n"},
{127493, 35, "out of range",
 "00FCFEFFFEFFFEFF",
 "127493 engine 0 35 \"\" transmission_gear=1\n"
 "tally out_of_range 3\n"},
{127493, 35, "reserved",
 "00FCFDFFFDFFFDFF",
 "127493 engine 0 35 \"\" transmission_gear=1\n"
 "tally reserved 3\n"},
{127497, 35, "a trip",
 "00B800D90060008F00",
 "127497 engine 0 35 \"\" trip_fuel=184 fuel_rate_average=21.7 fuel_rate_economy=9.6 "
 "fuel_economy=14.3\n"},
{127497, 35, "not available",
 "01FFFFFF7FFF7FFF7F",
 "tally not_available 4\n"},
{127497, 35, "all ones",
 "01FFFFFFFFFFFFFFFF",
 "tally not_available 4\n"},
{127497, 35, "out of range and reserved",
 "00FEFFFE7FFD7FFD7F",
 "tally out_of_range 2\n"
 "tally reserved 2\n"},
{127505, 35, "fuel",
 "00C43BD80E0000FF",
 "127505 tank 0 35 \"fuel\" fluid_type=0 fluid_level=61.2 tank_capacity=380\n"},
{127505, 35, "fresh water, second tank",
 "111112B0040000FF",
 "127505 tank 1 35 \"fresh water\" fluid_type=1 fluid_level=18.5 tank_capacity=120\n"},
{127505, 35, "grey water",
 "22000058020000FF",
 "127505 tank 2 35 \"grey water\" fluid_type=2 fluid_level=0 tank_capacity=60\n"},
{127505, 35, "live well",
 "33A861C7010000FF",
 "127505 tank 3 35 \"live well\" fluid_type=3 fluid_level=100 tank_capacity=45.5\n"},
{127505, 35, "oil",
 "44824BC8000000FF",
 "127505 tank 4 35 \"oil\" fluid_type=4 fluid_level=77.32 tank_capacity=20\n"},
{127505, 35, "black water",
 "5DD430EE020000FF",
 "127505 tank 13 35 \"black water\" fluid_type=5 fluid_level=50 tank_capacity=75\n"},
{127505, 35, "a type without a name",
 "908D2064000000FF",
 "127505 tank 0 35 \"type 9\" fluid_type=9 fluid_level=33.332 tank_capacity=10\n"},
{127505, 35, "not available, type too",
 "F0FF7FFFFFFFFFFF",
 "tally not_available 4\n"},
{127505, 35, "type not available, level known",
 "F00429FFFFFFFFFF",
 "127505 tank 0 35 \"\" fluid_level=42\n"
 "tally not_available 3\n"},
{127505, 35, "out of range",
 "00FE7FFEFFFFFFFF",
 "127505 tank 0 35 \"fuel\" fluid_type=0\n"
 "tally out_of_range 2\n"},
{127505, 35, "instance not available",
 "0FC43BD80E0000FF",
 "tally bad_instance 1\n"},
{127508, 35, "charging",
 "007F054501317455",
 "127508 battery 0 35 \"\" battery_voltage=14.07 battery_current=32.5 battery_temperature=24.3\n"},
{127508, 35, "discharging",
 "01CF0448FFFFFFF1",
 "127508 battery 1 35 \"\" battery_voltage=12.31 battery_current=-18.4\n"
 "tally not_available 1\n"},
{127508, 35, "not available",
 "00FF7FFF7FFFFF39",
 "tally not_available 3\n"},
{127508, 35, "out of range and reserved",
 "00FE7FFD7FFDFF75",
 "tally out_of_range 1\n"
 "tally reserved 2\n"},
{127245, 35, "to starboard",
 "00FFFF7F3808FFFF",
 "127245 vessel 0 35 \"\" rudder_angle=12.0550320096\n"},
{127245, 35, "second rudder, to port",
 "01FFFF7F5DF2FFFF",
 "127245 vessel 0 35 \"rudder 1\" rudder_angle=-20.001956628\n"},
{127245, 35, "not available, instance too",
 "FFFFFF7FFF7FFFFF",
 "tally not_available 1\n"},
{127245, 35, "instance not available",
 "FFFFFF7FE803FFFF",
 "127245 vessel 0 35 \"\" rudder_angle=5.72957795131\n"},
{127250, 35, "true",
 "2521C2FF7FFF7FFC",
 "127250 vessel 0 35 \"\" heading_true=284.742835446\n"
 "tally not_available 2\n"},
{127250, 35, "magnetic, with deviation and variation",
 "AA1F0051FF6302FD",
 "127250 vessel 0 35 \"\" heading_magnetic=0.177616916491 magnetic_deviation=-1.00267614148 "
 "magnetic_variation=3.50077212825\n"},
{127250, 35, "reference error",
 "0C10276400FF7FFE",
 "127250 vessel 0 35 \"\" magnetic_deviation=0.572957795131\n"
 "tally not_available 1\n"
 "tally reserved 1\n"},
{127250, 35, "reference not available",
 "D11027FF7FA3FEFF",
 "127250 vessel 0 35 \"\" magnetic_variation=-1.99962270501\n"
 "tally not_available 2\n"},
{127250, 35, "out of range",
 "5EFEFFFE7FFD7FFC",
 "tally out_of_range 2\n"
 "tally reserved 1\n"},
{128259, 35, "through water and over ground",
 "DF9C01B50100FFFF",
 "128259 vessel 0 35 \"\" speed_through_water=4.12 speed_over_ground=4.37\n"},
{128259, 35, "not available",
 "C9FFFFFFFFFFFFFF",
 "tally not_available 2\n"},
{128259, 35, "out of range and reserved",
 "7DFEFFFDFFFFFFFF",
 "tally out_of_range 1\n"
 "tally reserved 1\n"},
{128267, 35, "with offset to the waterline",
 "94E60200009001FF",
 "128267 vessel 0 35 \"\" depth=7.42 depth_offset=0.4\n"},
{128267, 35, "with offset to the keel",
 "4C40E201001EFBFF",
 "128267 vessel 0 35 \"\" depth=1234.56 depth_offset=-1.25\n"},
{128267, 35, "not available",
 "35FFFFFFFFFF7FFF",
 "tally not_available 2\n"},
{128267, 35, "out of range and reserved",
 "9CFEFFFFFFFD7FFF",
 "tally out_of_range 1\n"
 "tally reserved 1\n"},
{129025, 35, "north-west",
 "D9FB6222401B89FC",
 "129025 vessel 0 35 \"\" latitude=57.6912345 longitude=-5.8123456\n"},
{129025, 35, "south-east",
 "FF02BCEB20EB265A",
 "129025 vessel 0 35 \"\" latitude=-34.0000001 longitude=151.25\n"},
{129025, 35, "not available",
 "FFFFFF7FFFFFFF7F",
 "tally not_available 2\n"},
{129025, 35, "out of range and reserved",
 "FEFFFF7FFDFFFF7F",
 "tally out_of_range 1\n"
 "tally reserved 1\n"},
{129025, 35, "beyond the poles",
 "01E9A435002EB694",
 "129025 vessel 0 35 \"\" longitude=-180\n"
 "tally out_of_range 1\n"},
{129026, 35, "true",
 "F3FCB87A0202FFFF",
 "129026 vessel 0 35 \"\" course_over_ground=180.000420918 speed_over_ground=5.14\n"},
{129026, 35, "magnetic",
 "80FD88130000FFFF",
 "129026 vessel 0 35 \"\" course_magnetic=28.6478897565 speed_over_ground=0\n"},
{129026, 35, "reference not available",
 "A3FF88139600FFFF",
 "129026 vessel 0 35 \"\" speed_over_ground=1.5\n"
 "tally not_available 1\n"},
{129026, 35, "not available",
 "A8FCFFFFFFFFFFFF",
 "tally not_available 2\n"},
{129026, 35, "out of range and reserved",
 "0BFCFEFFFDFFFFFF",
 "tally out_of_range 1\n"
 "tally reserved 1\n"},
{130310, 35, "all three",
 "BA7F6F3E71F503FF",
 "130310 vessel 0 35 \"\" sea_temperature=12.28 air_temperature=16.75 air_pressure=101.3\n"},
{130310, 35, "not available",
 "05FFFFFFFFFFFFFF",
 "tally not_available 3\n"},
{130310, 35, "out of range and reserved",
 "CDFEFFFDFFFDFFFF",
 "tally out_of_range 1\n"
 "tally reserved 2\n"},
{130310, 35, "a sea of 249 K is not believed",
 "484961FC71FFFFFF",
 "130310 vessel 0 35 \"\" air_temperature=18.65\n"
 "tally not_available 1\n"
 "tally out_of_range 1\n"},
{130311, 35, "sea, humidity outside",
 "2740FF6E904CE603",
 "130311 vessel 0 35 \"\" air_pressure=99.8\n"
 "130311 vessel 0 35 \"sea\" sea_temperature=11\n"
 "130311 vessel 0 35 \"outside\" humidity=78.4\n"},
{130311, 35, "engine room, humidity inside",
 "CB034C7C1027FFFF",
 "130311 vessel 0 35 \"engine room\" engine_room_temperature=45.05\n"
 "130311 vessel 0 35 \"inside\" humidity=40\n"
 "tally not_available 1\n"},
{130311, 35, "sources not available",
 "BCFF30751027E803",
 "130311 vessel 0 35 \"\" air_pressure=100\n"
 "tally not_available 2\n"},
{130311, 35, "not available",
 "9641FFFFFF7FFFFF",
 "tally not_available 3\n"},
{130311, 35, "exhaust gas of an engine that is not named",
 "DE4E60EAFF7FFFFF",
 "tally not_available 2\n"
 "tally bad_instance 1\n"},
{130312, 35, "source 0",
 "EC0000EE6BFFFFFF",
 "130312 vessel 0 35 \"sea\" sea_temperature=3.15\n"},
{130312, 35, "source 1",
 "F100012B6CFFFFFF",
 "130312 vessel 0 35 \"outside\" air_temperature=3.76\n"},
{130312, 35, "source 2",
 "2A0002686CFFFFFF",
 "130312 vessel 0 35 \"inside\" inside_temperature=4.37\n"},
{130312, 35, "source 3",
 "7F0003A56CFFFFFF",
 "130312 vessel 0 35 \"engine room\" engine_room_temperature=4.98\n"},
{130312, 35, "source 4",
 "B80004E26CFFFFFF",
 "130312 vessel 0 35 \"main cabin\" inside_temperature=5.59\n"},
{130312, 35, "source 5",
 "F300051F6DFFFFFF",
 "130312 vessel 0 35 \"live well\" other_temperature=6.2\n"},
{130312, 35, "source 6",
 "B700065C6DFFFFFF",
 "130312 vessel 0 35 \"bait well\" other_temperature=6.81\n"},
{130312, 35, "source 7",
 "090007996DFFFFFF",
 "130312 vessel 0 35 \"refrigeration\" other_temperature=7.42\n"},
{130312, 35, "source 8",
 "7A0008D66DFFFFFF",
 "130312 vessel 0 35 \"heating system\" other_temperature=8.03\n"},
{130312, 35, "source 9",
 "8D0009136EFFFFFF",
 "130312 vessel 0 35 \"dew point\" other_temperature=8.64\n"},
{130312, 35, "source 10",
 "17000A506EFFFFFF",
 "130312 vessel 0 35 \"apparent wind chill\" other_temperature=9.25\n"},
{130312, 35, "source 11",
 "3E000B8D6EFFFFFF",
 "130312 vessel 0 35 \"theoretical wind chill\" other_temperature=9.86\n"},
{130312, 35, "source 12",
 "47000CCA6EFFFFFF",
 "130312 vessel 0 35 \"heat index\" other_temperature=10.47\n"},
{130312, 35, "source 13",
 "41000D076FFFFFFF",
 "130312 vessel 0 35 \"freezer\" other_temperature=11.08\n"},
{130312, 35, "source 14",
 "D3000E446FFFFFFF",
 "130312 engine 0 35 \"exhaust gas\" exhaust_temperature=11.69\n"},
{130312, 35, "source 15",
 "F2000F816FFFFFFF",
 "130312 vessel 0 35 \"shaft seal\" other_temperature=12.3\n"},
{130312, 35, "source 16",
 "7D0010BE6FFFFFFF",
 "130312 vessel 0 35 \"source 16\" other_temperature=12.91\n"},
{130312, 35, "source 130",
 "5000821473FFFFFF",
 "130312 vessel 0 35 \"source 130\" other_temperature=21.45\n"},
{130312, 35, "source 252",
 "6A00FC1473FFFFFF",
 "130312 vessel 0 35 \"source 252\" other_temperature=21.45\n"},
{130312, 35, "second sensor of the sea",
 "E30100BA6FFFFFFF",
 "130312 vessel 0 35 \"sea 1\" sea_temperature=12.87\n"},
{130312, 35, "exhaust gas of the second engine",
 "84010EF8FFFFFFFF",
 "130312 engine 1 35 \"exhaust gas\" exhaust_temperature=382.13\n"},
{130312, 35, "exhaust gas, engine not available",
 "A8FF0E50C3FFFFFF",
 "tally bad_instance 1\n"},
{130312, 35, "source not available",
 "7C00FFBA6FFFFFFF",
 "tally not_available 1\n"},
{130312, 35, "not available",
 "CB0000FFFFFFFFFF",
 "tally not_available 1\n"},
{130312, 35, "out of range",
 "0A0000FEFFFFFFFF",
 "tally out_of_range 1\n"},
{130312, 35, "reserved",
 "760000FDFFFFFFFF",
 "tally reserved 1\n"},
{130316, 35, "exhaust gas",
 "FB000EF3B70AFFFF",
 "130316 engine 0 35 \"exhaust gas\" exhaust_temperature=429.301\n"},
{130316, 35, "exhaust gas of the second engine",
 "C9010E847F0AFFFF",
 "130316 engine 1 35 \"exhaust gas\" exhaust_temperature=414.854\n"},
{130316, 35, "engine room",
 "F4000379CA04FFFF",
 "130316 vessel 0 35 \"engine room\" engine_room_temperature=40.827\n"},
{130316, 35, "sea",
 "4A0000CB5B04FFFF",
 "130316 vessel 0 35 \"sea\" sea_temperature=12.493\n"},
{130316, 35, "not available",
 "3A0000FFFFFFFFFF",
 "tally not_available 1\n"},
{130316, 35, "out of range",
 "9D0000FEFFFFFFFF",
 "tally out_of_range 1\n"},
{130316, 35, "reserved",
 "D10000FDFFFFFFFF",
 "tally reserved 1\n"},
{130314, 35, "atmospheric",
 "8E000006760F00FF",
 "130314 vessel 0 35 \"atmospheric\" air_pressure=101.3254\n"},
{130314, 35, "water",
 "0A010130142500FF",
 "130314 vessel 0 35 \"water 1\" other_pressure=243\n"},
{130314, 35, "oil",
 "D60007E5BA3C00FF",
 "130314 vessel 0 35 \"oil\" other_pressure=398.0005\n"},
{130314, 35, "a source without a name",
 "EA002810270000FF",
 "130314 vessel 0 35 \"source 40\" other_pressure=1\n"},
{130314, 35, "not available",
 "A20000FFFFFF7FFF",
 "tally not_available 1\n"},
{130314, 35, "out of range and below vacuum",
 "610008FEFFFF7FFF",
 "tally out_of_range 1\n"},
{129029, 35, "a fix",
 "1F8A5054EBD81E006FBAC6B89A0108B020F924068131FF90D940000000000010FC0B5500A2005A14000000",
 "129029 vessel 0 35 \"\" gnss_quality=1 latitude=57.6912345679 longitude=-5.8123456789 "
 "altitude=4.25 gnss_satellites=11 gnss_hdop=0.85\n"
 "utc 129029 vessel 0 35 \"\" 2026-06-14T14:22:33.250000Z\n"},
{129029, 35, "differential, south and east",
 "0F8A5054EBD81E0080AFA3322A4DFB00910A4B243FFC1460DAD9FFFFFFFFFF20FC0B5500A2005A14000000",
 "129029 vessel 0 35 \"\" gnss_quality=2 latitude=-33.8568 longitude=151.2153 altitude=-2.5 "
 "gnss_satellites=11 gnss_hdop=0.85\n"
 "utc 129029 vessel 0 35 \"\" 2026-06-14T14:22:33.250000Z\n"},
{129029, 35, "no fix: nothing is sound",
 "858A5054EBD81E006FBAC6B89A0108B020F924068131FF90D940000000000000FC0B5500A2005A14000000",
 "129029 vessel 0 35 \"\" gnss_quality=0\n"
 "tally invalid_status 1\n"},
{129029, 35, "not available",
 "26FFFFFFFFFFFFFFFFFFFFFFFFFF7FFFFFFFFFFFFFFF7FFFFFFFFFFFFFFF7F10FCFFFF7FFF7FFFFFFF7F00",
 "129029 vessel 0 35 \"\" gnss_quality=1\n"
 "tally not_available 7\n"},
{129029, 35, "out of range",
 "8AFEFFFEFFFFFFFEFFFFFFFFFFFF7FFEFFFFFFFFFFFF7FFEFFFFFFFFFFFF7F10FCFEFE7FFE7FFEFFFF7F00",
 "129029 vessel 0 35 \"\" gnss_quality=1\n"
 "tally out_of_range 7\n"},
{129029, 35, "reserved",
 "71FDFFFDFFFFFFFDFFFFFFFFFFFF7FFDFFFFFFFFFFFF7FFDFFFFFFFFFFFF7F10FCFDFD7FFD7FFDFFFF7F00",
 "129029 vessel 0 35 \"\" gnss_quality=1\n"
 "tally reserved 7\n"},
/* clang-format on */
