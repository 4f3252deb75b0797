package siren

import (
	"errors"
	"fmt"
	"io"
	"log"
	"net"
	"time"

	"github.com/simonvetter/modbus"
)

// relay is a coil of a Modbus device, on a TCP connection of its own: it waits for no probe.
type relay struct {
	client    *modbus.ModbusClient
	coil      uint16
	connected bool
}

const (
	modbusPort = "502" // [Modbus messaging on TCP/IP 4.2.1]
	// answerWithin is how long the device may take. Chosen: some times what a relay behind a gateway takes.
	answerWithin = time.Second
)

// Relay opens a coil of the device with that unit id at host:port; it connects when it is first set.
func Relay(address string, unit uint8, coil uint16) (Output, error) {
	if _, _, err := net.SplitHostPort(address); err != nil {
		address = net.JoinHostPort(address, modbusPort)
	}
	client, err := modbus.NewClient(&modbus.ClientConfiguration{URL: "tcp://" + address, Timeout: answerWithin, Logger: log.New(io.Discard, "", 0)})
	if err != nil {
		return nil, fmt.Errorf("siren: relay: %w", err)
	}
	if err := client.SetUnitId(unit); err != nil {
		return nil, fmt.Errorf("siren: relay: %w", err)
	}
	return &relay{client: client, coil: coil}, nil
}

// Set writes the coil and reads it back [Modbus application protocol V1.1b3, functions 5 and 1].
func (r *relay) Set(on bool) error {
	if !r.connected {
		if err := r.client.Open(); err != nil {
			return errors.New("the relay's device cannot be reached")
		}
		r.connected = true
	}
	err := r.client.WriteCoil(r.coil, on)
	is := on
	if err == nil {
		is, err = r.client.ReadCoil(r.coil)
	}
	if err != nil {
		r.connected = false
		return errors.Join(fmt.Errorf("the relay's device: %w", err), r.client.Close())
	}
	if is != on {
		return errors.New("the relay does not follow")
	}
	return nil
}

func (r *relay) Close() error {
	if !r.connected {
		return nil
	}
	r.connected = false
	return r.client.Close()
}
