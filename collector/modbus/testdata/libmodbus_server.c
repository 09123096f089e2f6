/* A Modbus server made with libmodbus, for the tests against real peers:
 * server tcp PORT | server rtu DEVICE. It answers as unit 5 with the words of
 * the tests' plant, and prints "ready" when it listens. */
#include <errno.h>
#include <modbus.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { UNIT = 5, SIZE = 200 };

static int word(int table, int address) { return (UNIT * 211 + table * 1009 + address * 7) % 20000; }

int main(int argc, char **argv)
{
	if (argc != 3)
		return 2;
	int tcp = strcmp(argv[1], "tcp") == 0;
	modbus_t *m = tcp ? modbus_new_tcp("127.0.0.1", atoi(argv[2])) : modbus_new_rtu(argv[2], 19200, 'N', 8, 1);
	modbus_mapping_t *map = modbus_mapping_new(SIZE, SIZE, SIZE, SIZE);
	if (!m || !map)
		return 1;
	for (int i = 0; i < SIZE; i++) {
		map->tab_bits[i] = word(1, i) & 1;
		map->tab_input_bits[i] = word(2, i) & 1;
		map->tab_registers[i] = word(3, i);
		map->tab_input_registers[i] = word(4, i);
	}
	modbus_set_slave(m, UNIT);
	int socket = -1;
	if (tcp && (socket = modbus_tcp_listen(m, 1)) == -1)
		return 1;
	if (!tcp && modbus_connect(m) == -1)
		return 1;
	printf("ready");
	fflush(stdout);
	for (;;) {
		if (tcp && modbus_tcp_accept(m, &socket) == -1)
			return 1;
		for (;;) {
			uint8_t query[MODBUS_TCP_MAX_ADU_LENGTH];
			int n = modbus_receive(m, query);
			if (n > 0)
				modbus_reply(m, query, n, map);
			else if (n == -1 && tcp)
				break;
		}
	}
}
